"""The whole way from a bid to a finished result. The only room that knows all the stages.

__init__.py    reading and measuring, the bid with its alternates and lots bought alone, the check
stages.py      every stage in turn
where_turf.py  where turf is laid, where water chooses it
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import geoturf.text_storage  # noqa: F401 (for its effect)
from geoturf import by_plan, cuts, ground, kernels, layout, materials, parcels, read, risk
from geoturf import check as promises
from geoturf import price as pricing
from geoturf.bid import (
    Bid,
    accepted,
    booked,
    bought_alone,
    choices,
    nearest,
    refuse_foreign_prices,
    unusual,
)
from geoturf.clock import Clock, Progress
from geoturf.engine import Engine, Serial
from geoturf.errors import BidError, GeoturfError
from geoturf.model import Finding, Ground, Result, Risk, Source
from geoturf.pipeline.refusing import in_alternate, refuse_broken
from geoturf.pipeline.stages import Stages, few_enough_for_each
from geoturf.pipeline.where_turf import water_saved, where_turf
from geoturf.rules import GroundRules, WaterRules
from geoturf.rules.ranges import own_values
from geoturf.units import SYSTEMS


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
    stages = Stages(source, engine, clock, few_enough_for_each(bid, land))
    if len(land.laid):
        stages.bound_ready = clock("compile", kernels.ready, engine, len(land.laid))
    place = land
    turf = where_turf(bid, place, stages)
    land = turf.land
    result = stages.priced(bid, land)
    alone = None
    if stages.each:
        with clock.whole("lot by lot"):
            alone = _alone(bid, land, result, stages)
    with clock.whole("alternates"):
        others = _alternates(bid, land, stages)

    takeoff = result.takeoff
    if alone is not None:
        takeoff = materials.beside(takeoff, land, alone.plan, bid.products)
    prices = [(title, other.price) for title, other in others]
    price = pricing.beside(result.price, prices, alone.price if alone is not None else None)
    saving = water_saved(place, turf.price, bid, clock)
    of_choice = (*turf.findings, *(saving.findings if saving else ()))
    findings = (*notes, *unusual(bid), *result.findings, *of_choice, *_of_many(bid, place))
    lots = [(_ALONE, alone)] if alone is not None and alone is not result else []
    result = replace(
        result,
        takeoff=takeoff,
        price=price,
        water=saving,
        findings=findings,
    )
    result = replace(result, staying=turf.rest(place), by_plan=by_plan.by_plan(result))
    result = replace(result, risk=clock("risk", _risk, result) if bid.ranges.any_given() else None)
    sound: list[Result] = []
    for title, one in [("", result), *lots, *others]:
        refuse_broken(title, clock("check", promises.broken_promises, one, sound))
        sound.append(one)
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
    refuse_foreign_prices(bid)
    source = clock("read", read.read, bid)
    land = clock("ground", ground.measure, source, rules, told, _near_m(bid))
    land = clock("parcels", parcels.derive, land, bid.parcels)
    land = pricing.by_book(land, bid.books)
    land = clock("layout", layout.method, land, bid.layout, told)
    land = clock("ground", layout.house_plans, land, bid.layout, told)
    ground.refuse_too_large(land, bid.limits, told)
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


def _of_many(bid: Bid, land: Ground) -> list[Finding]:
    """What there is not for very many sites."""
    if few_enough_for_each(bid, land):
        return []
    many = f"{land.areas['site'].nunique():,} sites are over [limits] sites_each"
    none = (
        "no takeoff of each, no price of each bought alone and no workbook; sites.csv has the "
        "price of each"
    )
    return [Finding("note", "many-sites", f"{many} = {bid.limits.sites_each:,.0f}: {none}")]


_ALONE = "every lot bought alone"


def _alone(bid: Bid, land: Ground, result: Result, stages: Stages) -> Result:
    """The bid again with every lot bought alone; its own result where no lots share anything."""
    asked = bought_alone(bid, land)
    return result if asked is bid else stages.priced(asked, land)


def _alternates(bid: Bid, land: Ground, stages: Stages) -> list[tuple[str, Result]]:
    """The bid again with each of its alternates accepted, and each combination; by title."""
    done = []
    for one in choices(bid.price):
        title = one.title()
        try:
            made = accepted(bid, one)
            on, its_land = (stages, land) if _lies_alike(made, bid) else _anew(made, stages)
            done.append((title, on.priced(made, _swapped(its_land, one.products()))))
        except GeoturfError as refusal:
            told = [in_alternate(title, finding) for finding in refusal.findings]
            raise type(refusal)(told) from None
    return done


def _anew(bid: Bid, stages: Stages) -> tuple[Stages, Ground]:
    """The stages on the ground of a bid that is read and measured by other rules, and that
    ground."""
    source, land = _lighter(*_measured(bid.model_copy(update={"water": None}), stages.clock))
    again = Stages(source, stages.engine, stages.clock, few_enough_for_each(bid, land))
    again.bound_ready = stages.bound_ready
    return again, land


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
