"""The whole way from a bid to a finished result. The only room that knows all the stages."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from geoturf import check as promises
from geoturf import cuts, edges, ground, layout, materials, parcels, read
from geoturf import price as pricing
from geoturf.bid import Bid, unusual
from geoturf.compiled import compiling
from geoturf.engine import Engine, Serial
from geoturf.errors import PromiseError
from geoturf.model import Finding, Ground, Price, Result, Source, Water

Progress = Callable[[str, int, int], Any]  # stage, done, of
_MANY = 100  # areas from which workers are worth starting


def run(
    bid: Bid, engine: Engine | None = None, progress: Progress | None = None, notes: Iterable[Finding] = ()
) -> Result:
    """Every stage in turn. ``notes`` are findings made before the run (assumptions about bare files).

    Raises `InputError` when the input is refused and `PromiseError` when the finished result breaks a promise of its own.
    """
    clock = _Clock(progress or (lambda stage, done, of: None))
    engine = engine or Serial()
    bid, weighed = _weighed(bid)

    source = clock("read", read.read, bid)
    source, land = clock("ground", _measured, source, bid)
    rest = clock("compile", _compiled, engine)
    if len(land.areas) >= _MANY:
        engine.prepare(_warm)
    border = clock("edges", edges.classify, land, bid.products, bid.edges)
    task = clock("layout", layout.task_of, land, bid.products, bid.layout, bid.cuts.pool)
    choices = clock("layout", layout.lay, task, engine, clock.tick("layout", len(land.areas)))
    plan = clock("cuts", cuts.plan, land, choices, bid.products, bid.cuts, clock.tick("cuts", 0), bid.layout, engine)
    clock("compile", rest)
    least = clock("bound", layout.bounds, task, engine)
    plan = cuts.proven(plan, land, choices, bid.products, bid.cuts, least)
    takeoff = clock("materials", materials.takeoff, land, border, plan, bid.products, bid.materials, bid.edges)
    price = clock("price", pricing.price, land, plan, takeoff, bid.products, bid.price, bid.currency)
    saving = clock("water", _water, land, price, bid) if bid.water else None

    stages = (source, land, border, plan, takeoff, price, saving)
    findings = (*notes, *unusual(bid), *weighed, *(f for stage in stages if stage is not None for f in stage.findings))
    result = Result(
        bid,
        source,
        land,
        border,
        choices,
        plan,
        takeoff,
        price,
        saving,
        findings=tuple(findings),
        seconds=clock.seconds,
    )
    broken = clock("check", promises.broken_promises, result)
    if broken:
        raise PromiseError(broken)
    return replace(result, seconds=dict(clock.seconds))


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
    land = parcels.derive(ground.measure(source, rules), bid.parcels)
    if bid.water:
        from geoturf import water  # refused now rather than when the turf is laid out

        water.check(land, bid.water, bid.currency, bid.folder)
    lost = sum(f.severity == "error" for f in land.findings)
    land = replace(land, overlaps=ground.overlaps(land), guests=ground.guests(land, bid.edges.tolerance_m))
    land = replace(land, findings=(*land.findings, *ground.notice(land, rules)))
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
        self.progress, self.seconds = progress, {}

    def __call__(self, stage: str, work: Callable[..., Any], *args: Any) -> Any:
        self.progress(stage, 0, 0)
        start = time.perf_counter()
        out = work(*args)
        self.seconds[stage] = round(self.seconds.get(stage, 0.0) + time.perf_counter() - start, 4)
        return out

    def tick(self, stage: str, of: int) -> Callable[[int], None]:
        done = 0

        def told(more: int) -> None:
            nonlocal done
            done += more
            self.progress(stage, done, of)

        return told
