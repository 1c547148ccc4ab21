"""The whole way from a bid to a finished result. The only room that knows all the stages."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from geoturf import check as promises
from geoturf import cuts, edges, ground, layout, materials, parcels, read
from geoturf import price as pricing
from geoturf.bid import Bid, accepted, assumed, lot_by_lot, unusual
from geoturf.compiled import compiling
from geoturf.engine import Engine, Serial
from geoturf.errors import BidError, GeoturfError, PromiseError
from geoturf.model import Finding, Ground, Price, Result, Source, Water
from geoturf.rules.base import Rules
from geoturf.units import SYSTEMS

Progress = Callable[[str, int, int], Any]  # stage, done, of
_MANY = 100  # areas from which workers are worth starting


def run(
    bid: Bid, engine: Engine | None = None, progress: Progress | None = None, notes: Iterable[Finding] = ()
) -> Result:
    """Every stage in turn; then the bid again with each of its alternates accepted, and with every lot bought alone. ``notes``
    are findings made before the run (assumptions about bare files).

    Raises `InputError` when the input is refused and `PromiseError` when the finished result breaks a promise of its own.
    """
    clock = _Clock(progress or (lambda stage, done, of: None))
    engine = engine or Serial()

    source = clock("read", read.read, bid)
    source, land = clock("ground", _measured, source, bid)
    rest = clock("compile", _compiled, engine)
    if len(land.areas) >= _MANY:
        engine.prepare(_warm)
    stages = _Stages(source, engine, clock, rest)
    result = stages.priced(bid, land)
    alone = clock.whole("lot by lot", stages.priced, lot_by_lot(bid), land)
    others = clock.whole("alternates", _alternates, bid, land, stages)

    takeoff = materials.beside(result.takeoff, land, alone.plan, bid.products)
    price = pricing.beside(result.price, [(title, other.price) for title, other in others], alone.price)
    saving = clock("water", _water, land, price, bid) if bid.water else None
    findings = (*notes, *unusual(bid), *result.findings, *(saving.findings if saving else ()))
    result = replace(result, takeoff=takeoff, price=price, water=saving, findings=findings, seconds=clock.seconds)
    for title, one in [("", result), ("every lot bought alone", alone), *others]:
        _refuse_broken(title, clock("check", promises.broken_promises, one))
    return replace(result, seconds=dict(clock.seconds))


class _Stages:
    """From the ground of a bid to its price, for a bid and for what is made of it. A stage that is given what it was given before
    gives what it gave."""

    def __init__(self, source: Source, engine: Engine, clock: _Clock, compiled: Callable[[], Any]):
        self.source, self.engine, self.clock, self.compiled = source, engine, clock, compiled
        self.known: dict[Callable[..., Any], list[tuple[tuple[Any, ...], Any]]] = {}
        self.laid: layout.Laid = {}  # areas each on its own, whatever pools they are in

    def priced(self, bid: Bid, land: Ground) -> Result:
        """Every stage in turn."""
        step, tick, engine = self._step, self.clock.tick, self.engine
        bid, weighed = _weighed(bid)
        border = step("edges", edges.classify, land, bid.products, bid.edges)
        task = step("layout", layout.task_of, land, bid.products, bid.layout, SYSTEMS[bid.units])
        choices = step("layout", layout.lay, task, engine, tick("layout", len(land.areas)), bid.cuts.pool, self.laid)
        plan = step("cuts", cuts.plan, land, choices, bid.products, bid.cuts, tick("cuts", 0), bid.layout, engine)
        step("compile", self.compiled)
        least = step("bound", layout.bounds, task, engine)
        plan = step("cuts", cuts.proven, plan, land, choices, bid.products, bid.cuts, least)
        takeoff = step("materials", materials.takeoff, land, border, plan, bid.products, bid.materials, bid.edges)
        price = step("price", pricing.price, land, plan, takeoff, bid.products, bid.price, bid.currency)

        made = (self.source, land, border, plan, takeoff, price)
        findings = (*weighed, *assumed.told(bid, price.lines), *(f for stage in made for f in stage.findings))
        return Result(bid, self.source, land, border, choices, plan, takeoff, price, None, findings, {})

    def _step(self, stage: str, work: Callable[..., Any], *given: Any) -> Any:
        before = self.known.setdefault(work, [])
        for known, out in before:
            if all(map(_same, given, known)):
                return out
        out = self.clock(stage, work, *given)
        before.append((given, out))
        return out


def _same(one: Any, other: Any) -> bool:
    """Rules are the same where they say the same, nouns where they are one. Who is told of progress does not matter."""
    if callable(one):
        return True
    return one is other or (isinstance(one, (Rules, dict, str)) and one == other)


def _alternates(bid: Bid, land: Ground, stages: _Stages) -> list[tuple[str, Result]]:
    """The bid again with each of its alternates accepted, by title."""
    done = []
    for one in bid.price.alternates:
        try:
            done.append((one.title, stages.priced(accepted(bid, one), _swapped(land, one.products))))
        except GeoturfError as refusal:
            raise type(refusal)(_in_alternate(one.title, finding) for finding in refusal.findings) from None
    return done


def _swapped(land: Ground, products: Mapping[str, str]) -> Ground:
    """The ground with other turf on it."""
    laid = land.areas["product"]
    if not laid.isin(list(products)).any():
        return land
    return replace(land, areas=land.areas.assign(product=[products.get(name, name) for name in laid]))


def _in_alternate(title: str, finding: Finding) -> Finding:
    return replace(finding, message=f"alternate '{title}': {finding.message}")


def _refuse_broken(title: str, broken: tuple[Finding, ...]) -> None:
    if broken:
        raise PromiseError(_in_alternate(title, one) if title else one for one in broken)


def _sound(bid: Bid, land: Ground) -> list[Finding]:
    """Warnings of alternates that change no turf. Raises `BidError` where the bid or an alternate leaves out what its turf cannot
    do without."""
    runs = [("[materials] leave_out", bid, land)]
    runs += [(f"alternate '{o.title}'", accepted(bid, o), _swapped(land, o.products)) for o in bid.price.alternates]
    faults = [
        Finding("error", "left-out", f"{who} {fault}")
        for who, one, on in runs
        for fault in materials.missing(on, one.products, one.materials, one.edges)
    ]
    if faults:
        raise BidError(faults)
    laid = set(land.areas["product"])
    return [
        Finding("warning", "idle-alternate", f"alternate '{one.title}': no area is laid with '{name}', so none changes")
        for one in bid.price.alternates
        for name in one.products
        if name not in laid
    ]


def _weighed(bid: Bid) -> tuple[Bid, tuple[Finding, ...]]:
    """The bid with what a seam costs at its own prices, where it does not state that, and a note that says so."""
    unit = "ft" if bid.units == "us" else "m"
    cost = pricing.seam_cost(materials.seam_m(bid.materials, bid.edges), bid.price, bid.currency, unit)
    if "seam_cost" in bid.layout.model_fields_set and bid.layout.seam_cost != cost:
        return bid, ()
    how = "nails" if bid.edges.seam_method == "nails" else "tape, adhesive"
    message = f"seams are weighed against turf at {cost}, what {how} and labour come to at the bid's own prices"
    layout_rules = bid.layout.model_copy(update={"seam_cost": cost})
    return bid.model_copy(update={"layout": layout_rules}), (Finding("note", "seam-cost", message),)


def _compiled(engine: Engine) -> Callable[[], Any]:
    """On a machine's first run: what sets seams and cuts rolls is compiled, by all workers. Gives what waits for the bound's,
    which they go on with."""
    if not layout.fresh():
        return partial(_wait, [])
    soon = [engine.begin(compiling, work) for work in _warmings()]
    rest = [engine.begin(compiling, work) for work in (layout.warm_losses, layout.warm_arms)]
    _wait(soon)
    return partial(_wait, rest)


def _wait(begun: list[Callable[[], Any]]) -> None:
    for done in begun:
        done()


def _warm() -> None:
    """What a worker will need, loaded."""
    for work in _warmings():
        work()


def _warmings() -> list[Callable[[], Any]]:
    """Longest first, so that two workers are done at about one time; what shares kernels with it only when these are made."""
    from geoturf.cuts.solve import warm_few, warm_many

    return [layout.warm_seams, warm_many, layout.warm_parts, warm_few]


def check(bid: Bid, notes: Iterable[Finding] = ()) -> tuple[Source, Ground, tuple[Finding, ...]]:
    """Reads and measures only; what was noticed on the way."""
    source, land = _measured(read.read(bid), bid)
    return source, land, (*notes, *unusual(bid), *source.findings, *land.findings)


def _measured(source: Source, bid: Bid) -> tuple[Source, Ground]:
    """Areas in their ground frames, cut out of parcels where the bid gives parcels, with what is odd about them noticed; and the
    source, which also counts what could not be measured."""
    terrain = bid.ground.terrain and str(
        Path(bid.folder) / bid.ground.terrain
    )  # paths start from the bid file's folder
    rules = bid.ground.model_copy(update={"terrain": terrain})
    told = SYSTEMS[bid.units]
    land = parcels.derive(ground.measure(source, rules, told), bid.parcels)
    warnings = _sound(bid, land)  # now rather than when the turf is laid out
    if bid.water:
        from geoturf import water  # refused now rather than when the turf is laid out

        water.check(land, bid.water, bid.currency, bid.folder)
    lost = sum(f.severity == "error" for f in land.findings)
    across = ground.neighbours_across_frames(land, bid.edges.tolerance_m)
    land = replace(land, overlaps=ground.overlaps(land), neighbours_across_frames=across)
    land = replace(land, findings=(*land.findings, *ground.notice(land, rules, told), *warnings))
    return replace(source, left_out=source.left_out + lost, inputs=(*source.inputs, *_beside(bid))), land


def _beside(bid: Bid) -> list[tuple[str, str]]:
    """(path as given, SHA-256) of what a bid reads beside its layers: terrain, climate, weather, bills."""
    water = bid.water
    named = [bid.ground.terrain, *((water.climate.table, water.climate.weather, water.metered) if water else ())]
    return [(path, read.sha256(Path(bid.folder) / path)) for path in named if path]


def _water(land: Ground, price: Price, bid: Bid) -> Water:
    from geoturf import water  # most bids have no water table and need not wait for its solver

    return water.compare(land, price.areas["price"], bid.water, bid.currency, bid.folder, bid.products)


class _Clock:
    """Times each stage and tells the progress."""

    def __init__(self, progress: Progress):
        self.progress, self.seconds, self.inside = progress, {}, ""

    def __call__(self, stage: str, work: Callable[..., Any], *args: Any) -> Any:
        self.progress(self.inside or stage, 0, 0)
        start = time.perf_counter()
        out = work(*args)
        if not self.inside:
            self.seconds[stage] = round(self.seconds.get(stage, 0.0) + time.perf_counter() - start, 4)
        return out

    def whole(self, stage: str, work: Callable[..., Any], *args: Any) -> Any:
        """Work that has stages of its own, told and timed as one."""
        start, self.inside = time.perf_counter(), stage
        out = work(*args)
        self.seconds[stage], self.inside = round(time.perf_counter() - start, 4), ""
        return out

    def tick(self, stage: str, of: int) -> Callable[[int], None]:
        done = 0

        def told(more: int) -> None:
            nonlocal done
            done += more
            self.progress(self.inside or stage, done, of)

        return told
