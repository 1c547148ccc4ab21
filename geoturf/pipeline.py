"""The whole way from a bid to a finished result. The only room that knows all the stages."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple, ParamSpec, TypeVar, cast

import numpy as np
import pandas as pd

import geoturf.text_storage  # noqa: F401 (for its effect)
from geoturf import calendar as time
from geoturf import check as promises
from geoturf import cuts, edges, ground, kernels, layout, materials, parcels, read, risk
from geoturf import price as pricing
from geoturf.bid import (
    Bid,
    accepted,
    assumed,
    booked,
    choices,
    lot_by_lot,
    nearest,
    unusual,
)
from geoturf.clock import Clock, Progress
from geoturf.engine import Engine, Serial
from geoturf.errors import BidError, GeoturfError, PromiseError
from geoturf.model import Finding, Ground, Result, Risk, Source, Staying, Water
from geoturf.rules import GroundRules, WaterRules
from geoturf.rules.base import Rules
from geoturf.rules.ranges import own_values
from geoturf.units import SYSTEMS

P = ParamSpec("P")
T = TypeVar("T")


def run(
    bid: Bid,
    engine: Engine | None = None,
    progress: Progress | None = None,
    notes: Iterable[Finding] = (),
) -> Result:
    """Every stage in turn; then the bid again with each of its alternates accepted, and with every
    lot bought alone. ``notes`` are findings made before the run (assumptions about bare files).

    Raises `InputError` when the input is refused and `PromiseError` when the finished result breaks
    a promise of its own.
    """
    clock = Clock(progress)
    engine = engine or Serial()
    source, land = _lighter(*_measured(bid, clock))
    stages = _Stages(source, engine, clock, _each(bid, land))
    if len(land.laid):
        stages.bound_ready = clock("compile", kernels.ready, engine, len(land.laid))
    place = land
    turf = _where_turf(bid, place, stages)
    land = turf.land
    result = stages.priced(bid, land)
    alone = None
    if stages.each:
        with clock.whole("lot by lot"):
            alone = stages.priced(lot_by_lot(bid), land)
    with clock.whole("alternates"):
        others = _alternates(bid, land, stages)

    takeoff = result.takeoff
    if alone is not None:
        takeoff = materials.beside(takeoff, land, alone.plan, bid.products)
    prices = [(title, other.price) for title, other in others]
    price = pricing.beside(result.price, prices, alone.price if alone is not None else None)
    saving = _water(place, turf.price, bid, clock)
    of_choice = (*turf.findings, *(saving.findings if saving else ()))
    findings = (*notes, *unusual(bid), *result.findings, *of_choice, *_of_many(bid, place))
    result = replace(result, takeoff=takeoff, price=price, water=saving, findings=findings)
    result = replace(result, staying=turf.rest(place))
    result = replace(result, risk=clock("risk", _risk, result) if bid.ranges.any_given() else None)
    lots = [("every lot bought alone", alone)] if alone is not None else []
    for title, one in [("", result), *lots, *others]:
        _refuse_broken(title, clock("check", promises.broken_promises, one))
    return replace(result, seconds=dict(clock.seconds))


def check(bid: Bid, notes: Iterable[Finding] = ()) -> tuple[Source, Ground, tuple[Finding, ...]]:
    """Reads and measures only; what was noticed on the way."""
    source, land = _measured(bid, Clock())
    return source, land, (*notes, *unusual(bid), *source.findings, *land.findings)


def _measured(bid: Bid, clock: Clock) -> tuple[Source, Ground]:
    """Areas in their ground frames, cut out of parcels where the bid gives parcels, with what is
    odd about them noticed; and the source, which also counts what could not be measured. What the
    bid asks of them in vain is refused now rather than when the turf is laid out."""
    rules = _from_its_folder(bid)
    told = SYSTEMS[bid.units]
    source = clock("read", read.read, bid)
    land = clock("ground", ground.measure, source, rules, told, _near_m(bid))
    land = clock("parcels", parcels.derive, land, bid.parcels)
    land = pricing.by_book(land, bid.books)
    land = clock("layout", layout.method, land, bid.layout)
    land = clock("ground", layout.house_plans, land, bid.layout, told)
    ground.refuse_too_large(land, bid.limits.of(bid.layout.method), told)
    cuts.order_of_work(land.only(land.laid))  # refuses one that is no order
    warnings = _sound(bid, land)
    if bid.water:
        from geoturf import water  # most bids have no water table and need not wait for its solver

        clock("water", water.check, land, bid.water, bid.currency, bid.folder, told)
    lost = sum(finding.severity == "error" for finding in land.findings)
    overlaps = clock("ground", ground.overlaps, land)
    across = clock("ground", ground.neighbours_across_frames, land, bid.edges.tolerance_m)
    land = replace(land, overlaps=overlaps, neighbours_across_frames=across)
    noticed = clock("ground", ground.notice, land, rules, told)
    land = replace(land, findings=(*land.findings, *noticed, *warnings))
    inputs = (*source.inputs, *_beside(bid))
    return replace(source, left_out=source.left_out + lost, inputs=inputs), land


def _near_m(bid: Bid) -> float:
    """How far from a site buildings, paving and the like count: they cut lawns out of parcels and
    tell edges; more of them is drawn where turf is laid, and asked for by a profile of trees."""
    lots = bid.parcels
    plain = bid.layout.method == "estimate" and not bid.layout.lay
    least: float = max(lots.building_setback_m, lots.paving_setback_m) + bid.edges.tolerance_m
    asked_for_trees = bid.water is not None and bid.water.profile is not None
    if plain and not asked_for_trees:
        return least
    return max(least, ground.DRAWN_M)


def _lighter(source: Source, land: Ground) -> tuple[Source, Ground]:
    """Both without what nothing asks for any more once the ground is measured: layers as they were
    read, and parcels, which tell neighbours. Of a city that is a third of all memory."""
    context = land.context[land.context["role"] != "parcel"].reset_index(drop=True)
    return replace(source, layers=()), replace(land, context=context)


class _Stages:
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

    def anew(self, bid: Bid) -> tuple[_Stages, Ground]:
        """The stages on the ground of a bid that is read and measured by other rules, and that
        ground."""
        source, land = _lighter(*_measured(bid.model_copy(update={"water": None}), self.clock))
        stages = _Stages(source, self.engine, self.clock, _each(bid, land))
        stages.bound_ready = self.bound_ready
        return stages, land

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

    def _bounds(self, task: layout.Task) -> Any:
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


def _each(bid: Bid, land: Ground) -> bool:
    """Whether there is a takeoff, and a price bought alone, of each site: of very many nobody reads
    them. Where packages are bought site by site the price hangs on them."""
    few: bool = land.areas["site"].nunique() <= bid.limits.sites_each
    return few or bid.materials.pool == "site"


def _of_many(bid: Bid, land: Ground) -> list[Finding]:
    """What there is not for very many sites."""
    if _each(bid, land):
        return []
    many = f"{land.areas['site'].nunique():,} sites are over [limits] sites_each"
    none = "no takeoff of each, no price of each bought alone and no workbook; sites.csv has the price of each"
    return [Finding("note", "many-sites", f"{many} = {bid.limits.sites_each:,.0f}: {none}")]


def _laid(land: Ground) -> Ground:
    """The ground that is laid, not estimated."""
    return land.only(land.laid)


def _same(one: object, other: object) -> bool:
    """Rules are the same where they say the same, nouns where they are one. Who is told of progress
    does not matter."""
    if callable(one):
        return True
    return one is other or (isinstance(one, (Rules, dict, str)) and one == other)


def _alternates(bid: Bid, land: Ground, stages: _Stages) -> list[tuple[str, Result]]:
    """The bid again with each of its alternates accepted, and each combination; by title."""
    done = []
    for one in choices(bid.price):
        title = one.title()
        try:
            made = accepted(bid, one)
            on, ground = (stages, land) if _lies_alike(made, bid) else stages.anew(made)
            done.append((title, on.priced(made, _swapped(ground, one.products()))))
        except GeoturfError as refusal:
            told = [_in_alternate(title, finding) for finding in refusal.findings]
            raise type(refusal)(told) from None
    return done


def _lies_alike(made: Bid, bid: Bid) -> bool:
    """Whether nothing that the ground is measured by is changed."""
    same = all(getattr(made, name) == getattr(bid, name) for name in _MEASURED_BY)
    return (
        same
        and set(made.books) == set(bid.books)
        and made.edges.tolerance_m == bid.edges.tolerance_m
    )


#: what of a bid its ground is measured by
_MEASURED_BY = ("layers", "ground", "parcels")


def _swapped(land: Ground, products: Mapping[str, str]) -> Ground:
    """The ground with other turf on it."""
    laid = land.areas["product"]
    if not laid.isin(list(products)).any():
        return land
    return replace(
        land, areas=land.areas.assign(product=[products.get(name, name) for name in laid])
    )


def _risk(result: Result) -> Risk:
    bid = result.bid
    made = (result.ground, result.takeoff, result.price)
    own = {"": frozenset[str]()} | {name: frozenset(book.rates) for name, book in bid.books.items()}
    books = {name: booked(bid, name) for name in own}
    terms = {name: risk.Terms(one.price, one.materials, own[name]) for name, one in books.items()}
    return risk.spread(*made, bid.materials, bid.ranges, own_values(bid), terms, bid.products)


def _in_alternate(title: str, finding: Finding) -> Finding:
    return replace(finding, message=f"alternate '{title}': {finding.message}")


def _refuse_broken(title: str, broken: tuple[Finding, ...]) -> None:
    if broken:
        raise PromiseError(_in_alternate(title, one) if title else one for one in broken)


def _sound(bid: Bid, land: Ground) -> list[Finding]:
    """Warnings of alternates that change no turf. Raises `BidError` where the bid or an alternate
    leaves out what its turf cannot do without."""
    runs = [("[materials] leave_out", bid, land)]
    runs += [
        (f"alternate '{one.title()}'", accepted(bid, one), _swapped(land, one.products()))
        for one in choices(bid.price)
    ]
    faults = [
        Finding("error", "left-out", f"{who} {fault}")
        for who, one, on in runs
        for fault in materials.missing(on, one.products, one.materials, one.edges)
    ]
    if faults:
        raise BidError(faults)
    laid = set(land.areas["product"])
    return [
        Finding(
            "warning",
            "idle-alternate",
            f"alternate '{one.title}': no area is laid with '{name}', so none changes",
        )
        for one in bid.price.alternates
        for name in one.products
        if name not in laid
    ] + _unmet_phases(bid, land)


def _unmet_phases(bid: Bid, land: Ground) -> list[Finding]:
    """Warnings of dates that no phase bears."""
    rise = bid.price.escalation
    dated = [("terms.phases", name) for name in bid.terms.phases]
    dated += [("price.escalation.starts", name) for name in (rise.starts if rise else ())]
    there = list(dict.fromkeys(land.areas["phase"].astype(str)))
    return [
        Finding(
            "warning",
            "unmet-phase",
            f"{key}: no area is of phase '{name}'{nearest(name, there)}",
        )
        for key, name in dated
        if name not in there
    ]


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
        message = f"seams are weighed against turf at {used['seam_cost']}, what {how} and labour come to at the bid's own prices"
        notes.append(Finding("note", "seam-cost", message))
    if "cross_seam_cost" in used:
        message = f"a cross seam is weighed at {used['cross_seam_cost']} more, what its labour comes to at the bid's own prices"
        notes.append(Finding("note", "cross-seam-cost", message))
    asked = "alike" in bid.layout.model_fields_set
    if bid.cuts.cutting == "site" and bid.layout.alike != "free" and not asked:
        used["alike"] = "free"  # layouts follow what lies open when a lot's turn comes
        notes.append(Finding("note", "laid-free", _LAID_FREE))
    return bid.model_copy(update={"layout": bid.layout.model_copy(update=used)}), tuple(notes)


_LAID_FREE = (
    "rolls are cut on site, so each area is laid as serves the rolls that lie open when its turn comes: "
    'lots of a house plan are not laid alike, and have drawings of their own; [layout] alike = "plan" '
    'lays them alike all the same, for more turf, and cutting = "yard" for less'
)


def _from_its_folder(bid: Bid) -> GroundRules:
    """The ground's rules with paths that start from the bid file's folder."""
    terrain = bid.ground.terrain and str(Path(bid.folder) / bid.ground.terrain)
    return bid.ground.model_copy(update={"terrain": terrain})


def _beside(bid: Bid) -> list[tuple[str, str]]:
    """(path as given, SHA-256) of what a bid reads beside its layers: terrain, climate, weather,
    bills, a logo. Raises `BidError` for a logo that is not safe to draw."""
    water = bid.water
    picture = bid.bidder.logo
    if picture:
        read.logo(bid.folder, picture)
    named = [
        bid.ground.terrain,
        picture,
        *(_of_water(water) if water else ()),
    ]
    return [(path, read.sha256(Path(bid.folder) / path)) for path in named if path]


def _of_water(water: WaterRules) -> list[str]:
    """Files that the water comparison reads."""
    climates = (water.climate, *water.climates.values())
    files = [path for one in climates for path in (one.table, one.weather)]
    laws = (water.ordinance, *water.ordinances.values())
    return [*files, *(one.file for one in laws), water.metered]


class _Turf(NamedTuple):
    """Where turf is laid: on ``land``, which is the areas in ``rows`` (m,) of all. ``price``: what
    turf on each of all areas is reckoned to cost; None where the bid's own price is asked for
    nowhere. ``on_all``: what turf on every area would cost, where that was worked out."""

    land: Ground
    rows: np.ndarray
    price: pd.Series | None = None
    on_all: Decimal | None = None
    findings: tuple[Finding, ...] = ()

    def rest(self, place: Ground) -> Staying | None:
        """None where turf is laid on all areas."""
        if len(self.rows) == len(place.areas):
            return None
        return Staying(place, self.rows, self.on_all)


_FREE_ROUNDS = 3  # choices at new prices; from then on turf may only leave areas, so it ends


def _where_turf(bid: Bid, place: Ground, stages: _Stages) -> _Turf:
    """On all areas, or on those that the comparison of water turns into turf. A choice is made at
    prices; turf laid on what it chooses, without the rest, costs something else; so the choice is
    made again until it stays at the prices of what it lays."""
    every = np.arange(len(place.areas))
    rules = bid.water
    if rules is None:
        return _Turf(place, every)
    if rules.lay == "all":
        return _Turf(place, every, stages.priced(bid, place).price.areas["price"])
    from geoturf import water

    if not water.turf_needs_price(rules):
        rows = _to_be_turf(bid, place, None, stages.clock)
        return _Turf(_laid_on(bid, place, rows), rows)
    return _where_turf_pays(bid, place, stages)


def _where_turf_pays(bid: Bid, place: Ground, stages: _Stages) -> _Turf:
    """Where turf is chosen at the price it has where it is chosen. The first prices are estimated
    from the shapes, so that only what is chosen is ever laid."""
    on_all = stages.priced(*_estimated(bid, place))
    _refuse_broken("turf on every area", stages.clock("check", promises.broken_promises, on_all))
    first = price = on_all.price.areas["price"]
    laid = pd.Series(None, first.index, dtype=object)  # prices of what was laid in any round
    again = _to_be_turf(bid, place, price, stages.clock)
    rows = None
    count = 0
    land = place
    while rows is None or not np.array_equal(again, rows):
        rows = again
        count = count + 1
        land = _laid_on(bid, place, rows)
        laid.iloc[rows] = stages.priced(bid, land).price.areas["price"].to_numpy()
        price = _as_laid(first, laid, rows)
        if count > _FREE_ROUNDS:
            price = price.where(np.isin(np.arange(len(price)), rows))
        again = _to_be_turf(bid, place, price, stages.clock)
    told = _price_moved(bid, on_all, rows, first, price, count)
    return _Turf(land, rows, price, on_all.price.totals["price"], told)


def _estimated(bid: Bid, place: Ground) -> tuple[Bid, Ground]:
    """The bid and its ground with no area laid."""
    method = bid.layout.model_copy(update={"method": "estimate", "lay": ()})
    areas = place.areas.assign(estimated=True)
    return bid.model_copy(update={"layout": method}), replace(place, areas=areas)


def _to_be_turf(bid: Bid, place: Ground, price: pd.Series | None, clock: Clock) -> np.ndarray:
    """Rows of the areas to be turf, at a ``price`` of turf on each (areas-aligned)."""
    from geoturf import water

    rules = cast(WaterRules, bid.water)
    asked = (place, price, rules, bid.currency, bid.folder, SYSTEMS[bid.units])
    return np.flatnonzero(clock("water", water.to_be_turf, *asked))


def _laid_on(bid: Bid, place: Ground, rows: np.ndarray) -> Ground:
    """The ground of the areas in ``rows``, with house plans told by those alone; the ground itself
    where that is all."""
    if len(rows) == len(place.areas):
        return place
    part = replace(place.only(rows), findings=())
    alike = layout.house_plans(part, bid.layout, SYSTEMS[bid.units])
    return replace(alike, findings=place.findings)


def _as_laid(first: pd.Series, laid: pd.Series, rows: np.ndarray) -> pd.Series:
    """The price of turf on every area: as it was ``laid`` last; where it never was, as it was
    estimated ``first``, moved as the prices of ``rows`` were by laying them, so that neither is
    favoured by what estimates have in common."""
    before = sum(first.iloc[rows])
    after = sum(laid.iloc[rows])
    ratio = after / before if before else Decimal(1)
    moved = first.map(lambda price: (price * ratio).quantize(price))
    return moved.where(laid.isna(), laid)


def _price_moved(
    bid: Bid, on_all: Result, rows: np.ndarray, first: pd.Series, last: pd.Series, rounds: int
) -> tuple[Finding, ...]:
    """How the price of turf on the areas chosen moved, from an estimate of their part of turf on
    everything to what they cost, laid and without the rest."""
    if not len(rows) or len(rows) == len(first):
        return ()
    before = sum(first.iloc[rows])
    after = sum(last.iloc[rows])
    moved = f"{100 * (float(after) / float(before) - 1):+.1f} %" if before else "from nothing"
    chosen = on_all.plan.chosen
    sure = float((chosen["sigma_m2"] / chosen["turf_bought_m2"]).median())
    times = "once more" if rounds == 1 else f"{rounds} times more"
    message = (
        f"turf on the {len(rows)} areas that it is laid on costs {after:,} {bid.currency}; estimated "
        f"from the shapes, as a part of turf on all {len(first)} areas, it was {before:,} ({moved}); "
        f"the choice was made {times} at the price of what is laid, and stays; the prices of areas that "
        f"stay are estimated (one sigma of an area's turf {100 * sure:.1f} %) and moved alike"
    )
    return (Finding("note", "turf-price-moved", message),)


def _water(place: Ground, turf_price: pd.Series | None, bid: Bid, clock: Clock) -> Water | None:
    """The comparison of water, where the bid asks for one."""
    if bid.water is None:
        return None
    from geoturf import water

    rules = bid.water
    told = SYSTEMS[bid.units]
    asked = (place, turf_price, rules, bid.currency, bid.folder, bid.products, told)
    return clock("water", water.compare, *asked)
