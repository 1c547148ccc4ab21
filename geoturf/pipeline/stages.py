"""The stages in turn, for a bid and for what is made of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numpy as np

from geoturf import calendar as time
from geoturf import cuts, edges, ground, kernels, layout, materials
from geoturf import price as pricing
from geoturf.bid import Bid, assumed, booked
from geoturf.clock import Clock
from geoturf.engine import Engine
from geoturf.model import Finding, Ground, Result, Source
from geoturf.rules.base import Rules
from geoturf.units import SYSTEMS

P = ParamSpec("P")
T = TypeVar("T")


class Stages:
    """From the ground of a bid to its price, for a bid and for what is made of it. A stage that is
    given what it was given before gives what it gave."""

    def __init__(self, source: Source, engine: Engine, clock: Clock, each: bool):
        self.source = source
        self.engine = engine
        self.clock = clock
        self.each = each  # whether there is a takeoff of each site
        self.laid: layout.Laid = {}  # areas each on its own, whatever pools they are in
        self.bounded: layout.Bounded = {}  # likewise, the least turf of each
        self.cut: cuts.Known = {}  # pools' pieces, whatever bid they are of
        self.bound_ready: kernels.Work = lambda: None  # waits for what the bound needs compiled
        self._known: dict[object, list[tuple[tuple[object, ...], object]]] = {}

    def priced(self, bid: Bid, land: Ground) -> Result:
        """Every stage in turn."""
        step = self._step
        engine = self.engine
        products = bid.products
        laid_tick = self.clock.tick("layout", len(land.areas))
        cut_tick = self.clock.tick("cuts", 0)
        bid, weighed = _weighed(bid)
        told = SYSTEMS[bid.units]

        origins = step("ground", ground.origins_m, land.frames)
        land = step("layout", layout.seen_together, land, bid.layout, origins)
        land = step("cuts", cuts.parted, land, products)
        land = step("layout", layout.drawn_alike, land, bid.layout)
        border = step("edges", edges.classify, land, products, bid.edges)
        laid = step("layout", _laid, land)
        task = step("layout", layout.task_of, laid, products, bid.layout, told)
        choices = step("layout", layout.lay, task, engine, laid_tick, bid.cuts.pool, self.laid)
        plan = step(
            "cuts", cuts.plan, laid, choices, products, bid.cuts,
            cut_tick, bid.layout, engine, self.cut, layout.cut_across,
        )  # fmt: skip
        least = step("bound", self._bounds, task)
        plan = step("cuts", cuts.proven, plan, laid, choices, products, bid.cuts, least)
        plan = step("cuts", cuts.within_limits, plan, laid, products, told)
        if laid is not land:
            guess = step("layout", layout.estimate, land, products, bid.layout, told, engine)
            plan = step("cuts", cuts.of_all, plan, land)
            plan = step("cuts", cuts.with_estimate, plan, land, guess, products, bid.cuts)
        books = {name: booked(bid, name) for name in bid.books}
        work = {name: one.materials for name, one in books.items()}
        prices = {name: one.price for name, one in books.items()}
        took = (land, border, plan, products, bid.materials, bid.edges, work, self.each)
        takeoff = step("materials", materials.takeoff, *took)
        paid = (land, plan, takeoff, products, bid.price, bid.currency, bid.units, prices)
        price = step("price", pricing.price, *paid)

        worked = (land, takeoff, bid.calendar, bid.materials.hours_a_day_h, bid.dates)
        turns = tuple(plan.lots["site"]) if plan.lots is not None else ()
        when = step("calendar", time.schedule, *worked, turns)

        made = (self.source, land, border, task, plan, takeoff, price, when)
        noticed = [finding for stage in made for finding in stage.findings]
        noticed += layout.told_alike(choices, told)
        noticed += layout.told_views(laid, choices, bid.layout, origins)
        findings = (*weighed, *assumed.told(bid, price.lines), *noticed)
        return Result(
            *(bid, self.source, land, border, choices, plan, takeoff, price, when, None, findings),
            seconds={},
            each=self.each,
        )

    def _bounds(self, task: layout.Task) -> np.ndarray:
        """The least turf of each area, once what that needs is compiled."""
        self.clock("compile", self.bound_ready)
        return layout.bounds(task, self.engine, self.bounded)

    def _step(self, stage: str, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
        """What a stage gives, worked out once for what it is given."""
        before = self._known.setdefault(work, [])
        asked = (*given, *named.values())
        for known, out in before:
            if all(map(_same, asked, known)):
                return cast(T, out)
        made = self.clock(stage, work, *given, **named)
        before.append((asked, made))
        return made


def few_enough_for_each(bid: Bid, land: Ground) -> bool:
    """Whether there is a takeoff, and a price bought alone, of each site: of very many nobody reads
    them. Where packages are bought site by site the price hangs on them."""
    few: bool = land.areas["site"].nunique() <= bid.limits.sites_each
    return few or bid.materials.pool == "site"


def _laid(land: Ground) -> Ground:
    """The ground that is laid, not estimated."""
    return land.only(land.laid)


def _same(one: object, other: object) -> bool:
    """Rules are the same where they say the same, nouns where they are one. Who is told of progress
    does not matter."""
    if callable(one):
        return True
    return one is other or (isinstance(one, (Rules, dict, str)) and one == other)


def _weighed(bid: Bid) -> tuple[Bid, tuple[Finding, ...]]:
    """The bid with what seams and cross seams cost at its own prices, where it does not state that,
    with lots laid each by itself where rolls are cut on site, and notes that say so."""
    unit = "ft" if bid.units == "us" else "m"
    along = materials.seam_m(bid.materials, bid.edges)
    each = materials.cross_seam(bid.materials)
    how = "nails" if bid.edges.seam_method == "nails" else "tape, adhesive"
    costs = {
        "seam_cost": pricing.seam_cost(along, bid.price, bid.currency, unit),
        "cross_seam_cost": pricing.seam_cost(each, bid.price, bid.currency),
    }
    used: dict[str, object] = {
        key: cost
        for key, cost in costs.items()
        if key not in bid.layout.model_fields_set or getattr(bid.layout, key) == cost
    }
    notes = []
    if "seam_cost" in used:
        message = (
            f"seams are weighed against turf at {used['seam_cost']}, what {how} and labour "
            "come to at the bid's own prices"
        )
        notes.append(Finding("note", "seam-cost", message))
    if "cross_seam_cost" in used:
        message = (
            f"a cross seam is weighed at {used['cross_seam_cost']} more, what its labour "
            "comes to at the bid's own prices"
        )
        notes.append(Finding("note", "cross-seam-cost", message))
    asked = "alike" in bid.layout.model_fields_set
    if bid.cuts.cutting == "site" and bid.layout.alike != "free" and not asked:
        used["alike"] = "free"  # layouts follow what lies open when a lot's turn comes
        notes.append(Finding("note", "laid-free", _LAID_FREE))
    return bid.model_copy(update={"layout": bid.layout.model_copy(update=used)}), tuple(notes)


_LAID_FREE = (
    "rolls are cut on site, so each area is laid as serves the rolls that lie open when its turn "
    "comes: "
    'lots of a house plan are not laid alike, and have drawings of their own; [layout] alike = "plan" '
    'lays them alike all the same, for more turf, and cutting = "yard" for less'
)
