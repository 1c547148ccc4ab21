"""Roll layout: the pile bearing, the seams and the pieces of every area, and what no layout can
beat.

seen_together(ground, rules, origins) -> the ground with views that the data tell
told_views(ground, choices, rules, origins) -> what they cost, and where views meet
house_plans(ground, rules) -> the ground with the house plan of each area's lot
drawn_alike(ground, rules) -> the ground with areas of one shape laid from one drawing
task_of(ground, products, rules) -> what is to be laid
lay(task, engine)                -> one `geoturf.model.Choices` an area
method(ground, rules)            -> the ground with which areas are estimated, not laid
estimate(ground, products, rules) -> what these are likely to take
cut_across(layout, laid, joints, rules) -> the layout with strips in shorter lengths
bounds(task, engine)             -> least turf that any rectangles, or strips, can take of each
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from geoturf import knapsack
from geoturf.compiled import compiled_now
from geoturf.engine import Engine, Serial
from geoturf.layout import chords, corners, ends, kernel, rows, widths
from geoturf.layout.across import cut_across
from geoturf.layout.area import lay_priced, lay_together
from geoturf.layout.balance import balanced
from geoturf.layout.bound import bound_m2, strip_bound_m2
from geoturf.layout.estimate import estimate
from geoturf.layout.method import method
from geoturf.layout.models import moved, placed, slack_m2
from geoturf.layout.plans import drawn_alike, house_plans, told_alike
from geoturf.layout.regular import lay_regular
from geoturf.layout.roll import Roll
from geoturf.layout.shape import Shape
from geoturf.layout.sizes import RectangleSizes, RollSizes, StripSizes
from geoturf.layout.task import Task, task_of
from geoturf.layout.together import Seen
from geoturf.layout.views import seen_together, told_views
from geoturf.model import Choices, Layout

__all__ = [
    "Bounded",
    "Laid",
    "Task",
    "bounds",
    "cut_across",
    "drawn_alike",
    "estimate",
    "fresh",
    "house_plans",
    "lay",
    "method",
    "seen_together",
    "task_of",
    "told_alike",
    "told_views",
    "warm_arms",
    "warm_covers",
    "warm_losses",
    "warm_parts",
    "warm_seams",
]

CHUNK = 16  # areas a worker gets at a time, at most
PARTS = 16  # of the work of one map, at least
RELAID_AT = 2  # bearings, the best of an area, at which it is laid anew for its pool's prices
FEW = 100  # fewer groups than this are not worth starting workers
SOME = 12  # fewer are not worth handing to workers that are there
_PLAN = np.array(
    [[0.0, 0.0, 1.0, 0.0], [1.0, 0.0, 1.0, 1.0], [1.0, 1.0, 0.0, 0.0]]
)  # a closed ring, to warm up on
_ROLL = RollSizes(4.0, 4.0, 0.1, 0.1, 0.1, 0.1, 0.1, 0.1, 30.0, 10.0, 0.5, 2.0, 0.1)
_SHARES = np.ones(50)

# shapes seen together, what each is laid from, the bearing or NaN, how they lean; by what regular
# strips are chosen
Job = tuple[list[Shape], list[tuple[Roll, ...]], float, Seen, list[Shape]]


#: areas laid each on its own: rows that share a bearing, what each is laid from, that bearing ->
#: (their drawings, which what is laid alike may change), choices of each
Laid = dict[
    tuple[tuple[int, ...], tuple[bytes, ...], tuple[tuple[Roll, ...], ...], str], list[Choices]
]
#: the least turf (2,) of areas bounded before, by drawing, widths stocked and bearing stated
Bounded = dict[tuple[bytes, tuple[Roll, ...], str], np.ndarray]


def lay(
    task: Task,
    engine: Engine,
    tick: Callable[[int], Any] | None = None,
    pool: str = "phase",
    known: Laid | None = None,
) -> tuple[Choices, ...]:
    """Layouts for every area, in order. ``tick(n)`` is told when n more areas are done; ``pool``:
    who shares rolls (phase, site, area). ``known``: areas of the same ground that were laid before,
    each on its own; they are not laid again, others are added."""
    tick = tick or (lambda n: None)
    known = {} if known is None else known
    groups = [g for g in task.groups if task.where[g[0]].of == g[0] or task.turns[g[0]]]
    tick(len(task.shapes) - sum(map(len, groups)))
    jobs = [
        (
            [task.shapes[k] for k in g],
            [task.stock[k] for k in g],
            float(task.bearings[g[0]]),
            Seen(float(task.turns[g[0]]), tuple(task.lots[k] for k in g)),
            [task.sought[k] for k in g if task.regular[k]],
        )
        for g in groups
    ]
    keys = [
        (tuple(g.tolist()), tuple(map(_drawing, job[0])), tuple(job[1]), f"{job[2]} {job[3]}")
        for g, job in zip(groups, jobs, strict=True)
    ]
    new = [k for k, key in enumerate(keys) if key not in known]
    known.update(
        zip([keys[k] for k in new], _carry_out([jobs[k] for k in new], engine, tick), strict=True)
    )
    done: dict[int, Choices] = {}
    for group, key in zip(groups, keys, strict=True):
        done.update(zip(group.tolist(), known[key], strict=True))
    task = rows.by_lean(task, done)
    for row, place in enumerate(task.where):
        if place.of != row:
            done[row] = placed(done[place.of], place)

    def relay(rolls: dict[int, tuple[Roll, ...]]) -> dict[int, list[Layout]]:
        return _relaid(rolls, task, done, engine)

    every = [done[row] for row in range(len(task.shapes))]
    return tuple(balanced(every, task.pools[pool], task.stock, relay, task.families))


def _drawing(shape: Shape) -> bytes:
    """What tells a shape from others."""
    return shape.origin.tobytes() + shape.points.tobytes()


def bounds(task: Task, engine: Engine, known: Bounded | None = None) -> np.ndarray:
    """The least turf (m2) that can be bought for each area in any pool, laid under the rules: in
    any rectangles, and in strips from border to border (n, 2); it adds up over a pool. ``known``:
    what was found before, and what is found now."""
    known = {} if known is None else known
    firsts = [row for row, place in enumerate(task.where) if place.of == row]
    jobs = [(task.shapes[k], task.stock[k], float(task.bearings[k])) for k in firsts]
    keys = [(_drawing(shape), stock, str(stated)) for shape, stock, stated in jobs]
    new = [k for k, key in enumerate(keys) if key not in known]
    chunks = _runner(len(new), engine).map(_work_bounds, _chunks([jobs[k] for k in new]))
    found = [both for chunk in chunks for both in chunk]
    known.update(zip([keys[k] for k in new], found, strict=True))
    least = {row: known[key] for row, key in zip(firsts, keys, strict=True)}
    every = [_placed_bounds(task, row, least) for row in range(len(task.shapes))]
    return np.array(every, float).reshape(-1, 2)


def _placed_bounds(task: Task, row: int, least: dict[int, np.ndarray]) -> np.ndarray:
    """The bounds of a row's first, less what a repeat's tolerance may take off them."""
    of = task.where[row].of
    if of == row:
        return least[row]
    return np.maximum(0.0, least[of] - slack_m2(task.shapes[row], task.stock[row]))


def _work_bounds(jobs: list[tuple[Shape, tuple[Roll, ...], float]]) -> list[np.ndarray]:
    """A worker's share of `bounds`."""
    both = [(bound_m2(*job), strip_bound_m2(*job)) for job in jobs]
    return [np.array([least, max(least, strips)]) for least, strips in both]  # strips, too, cover


def _relaid(
    rolls: dict[int, tuple[Roll, ...]], task: Task, done: dict[int, Choices], engine: Engine
) -> dict[int, list[Layout]]:
    """Layouts of rows for ``rolls`` with their pools' prices; repeats that share those are laid
    once, and regular strips are left as they are."""
    where = task.where
    kept = {row: list[Layout]() for row in rolls if task.regular[row]}
    rolls = {row: _as_laid(some, done[row]) for row, some in rolls.items() if row not in kept}
    wanted = {(where[row].of, some): None for row, some in rolls.items()}
    together = [int(row) for group in task.groups if len(group) > 1 for row in group]
    seen = {row: done[row].layouts[0].bearing_deg for row in together}
    jobs = [
        (
            task.shapes[of],
            some,
            list(dict.fromkeys(layout.bearing_deg for layout in done[of].layouts))[:RELAID_AT],
            seen.get(of, float(task.bearings[of])),
        )
        for of, some in wanted
    ]
    chunks = _runner(len(jobs), engine).map(_work_priced, _chunks(jobs))
    laid = dict(zip(wanted, (one for chunk in chunks for one in chunk), strict=True))
    return kept | {
        row: [moved(layout, where[row]) for layout in laid[where[row].of, some]]
        for row, some in rolls.items()
    }


def _as_laid(rolls: tuple[Roll, ...], choices: Choices) -> tuple[Roll, ...]:
    """``rolls`` for areas laid anew: in blocks only where some of the layouts of the first time
    are."""
    cut = any(layout.at_corners for layout in choices.layouts)
    if cut:
        return rolls
    return tuple(replace(roll, blocks=False) for roll in rolls)


def _chunks(jobs: Sequence[Any]) -> list[Any]:
    """The jobs in shares for workers: smaller ones where they are few, so that no worker waits long
    for another."""
    size = min(CHUNK, max(1, len(jobs) // PARTS))
    return [jobs[k : k + size] for k in range(0, len(jobs), size)]


def _work_priced(
    jobs: list[tuple[Shape, tuple[Roll, ...], list[float], float]],
) -> list[list[Layout]]:
    """A worker's share of `_relaid`."""
    return [lay_priced(*job) for job in jobs]


def _carry_out(jobs: list[Job], engine: Engine, tick: Callable[[int], Any]) -> list[list[Choices]]:
    """Every job's choices, in order; by the engine where there is enough to do."""
    chunks = _chunks(jobs)
    sizes = iter([sum(len(job[0]) for job in chunk) for chunk in chunks])

    def told(n: int) -> None:
        tick(sum(next(sizes) for _ in range(n)))

    done = _runner(len(jobs), engine).map(_work, chunks, told)
    return [choices for chunk in done for choices in chunk]


def _runner(jobs: int, engine: Engine) -> Engine:
    """Who carries out so many jobs: workers where that pays."""
    if jobs >= (SOME if engine.started else FEW):
        return engine
    return Serial()


def _work(jobs: list[Job]) -> list[list[Choices]]:
    """A worker's share."""
    return [
        lay_regular(shapes, sought, rolls, bearing_deg)
        if sought
        else lay_together(shapes, rolls, bearing_deg, seen)
        for shapes, rolls, bearing_deg, seen, sought in jobs
    ]


def warm_seams() -> None:
    """Compile what sets seams, or load what an earlier run compiled (some seconds, once a
    machine)."""
    from geoturf.layout import placing

    edges, vs = kernel.turn(_PLAN, 1.0, 0.0, 1e-6)
    cuts = placing.rough(vs, vs[0], vs[-1], np.zeros(1), 0.0, 4.0)
    slabs = kernel.slabs(edges, vs, cuts, 0.1)
    _, (before,) = kernel.searches(cuts, *slabs, _ROLL, _SHARES[None], -1, -1)
    placing.near(vs, vs[0], vs[-1], cuts, slabs[0], before, 0, 4, 1.0, 0.1, 4.0)
    kernel.projected(edges, np.zeros((1, 3)), cuts, 0.1)
    lines, _, _ = placing.strips(cuts, *slabs[:3], before, 0.1)
    placing.seams(lines, edges)
    kernel.divisions(lines, np.ones(len(lines), np.int64), lines, _ROLL, True)
    kernel.turf_on(edges, 0.5, np.empty(3))
    placing.odd(np.ones((1, 4)), np.ones((1, 3)), 4.0)


def warm_parts() -> None:
    """The same for what cuts shapes in parts."""
    from geoturf.layout import parting

    edges, vs = kernel.turn(_PLAN, 1.0, 0.0, 1e-6)
    every = kernel.slabs(edges, vs, vs, 0.1)[:3]
    parting.separate(*parting.between(edges, vs, every, 0, len(vs) - 1), -np.inf, np.inf, _ROLL)
    parting.best_two(
        edges, vs, every, np.array([0, len(vs) - 1]), vs, vs, np.zeros(1), _ROLL, _SHARES[None], 0.0
    )
    parting.ends_of(edges)
    parting.clipped(edges, 0.0, 0.5)
    parting.joints(edges, np.array([0.5]), 0.0)
    parting.parts_of(edges, _ROLL)
    ends = np.array([0.0, 0.5, 1.0])
    knapsack.again(np.ones(1, int), np.ones(1), 1)
    parting.seams_beyond(edges, ends, 0.0, 1.0, 4.0)
    parting.best_across(
        edges, ends, np.zeros(3), np.zeros(3), np.zeros(1), _ROLL, _SHARES[None], 0.0
    )


def warm_arms() -> None:
    """The same for the bound: arms of a shape."""
    edges, vs, at, _ = kernel.views(_PLAN, np.ones(1), np.zeros(1), 1e-6, 0.1)
    chords.arms_of(edges, vs, at, 0.1, np.ones(1, bool))


def warm_losses() -> None:
    """The same for what strips lose there."""
    corners.losses(
        *_no_arms(), *_flat(), StripSizes(4.0, 3.9, 0.1, 0.1, 0.0), np.zeros(1), np.ones(1, bool)
    )


def warm_covers() -> None:
    """The same for what any rectangles waste."""
    sizes = RectangleSizes(4.0, 3.9, 0.1, 0.1, 1.0, 0.1)
    turn = np.zeros(1)
    every = np.ones(1, bool)
    widths.least(*_no_arms(), sizes, turn, every, 1.0)
    ends.least(*_no_arms(), *_flat(), sizes, turn, every, 0.1)


def _no_arms() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """No slabs and no arms, at one bearing."""
    return np.zeros((0, chords.ARM + 1)), np.zeros((0, 4), np.int64), np.zeros(2, np.int64)


def _flat() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A shape at one bearing, as `geoturf.layout.kernel.views` gives it."""
    return _PLAN, np.array([0.0, 1.0]), np.array([[0, 0], [len(_PLAN), 2]])


def fresh() -> bool:
    """Whether kernels are yet to be compiled on this machine, and can be kept; told by a small one,
    which is compiled now."""
    return compiled_now(kernel.lanes_of, 1.0, _ROLL)
