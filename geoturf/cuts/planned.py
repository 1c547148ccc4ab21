"""A pool's plan, made whole and never changed: its layouts, and what their pieces are cut from.

`square` makes the plans of all pools, `divided` and `nested` make better ones of them; `from_stock`
makes plans one pool after the other, since each may leave less of the stock to the next.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geoturf.cuts import divide, dual, nested, pools, settle
from geoturf.cuts.job import Bought, Job, used
from geoturf.cuts.market import Market
from geoturf.cuts.pools import Pool
from geoturf.cuts.solve import Cut, solve
from geoturf.engine import Engine, Serial
from geoturf.model import Choices, Ground, Layout
from geoturf.rules import CutRules, LayoutRules

EFFORTS = ("thorough", "normal", "quick")
HEAVY = 400  # pieces from which workers are worth starting
_TURNS = 40_000  # over the pieces of a bid: turns for which its large pools by length are worked on
_FEWEST, _MOST = 2, 12  # of those turns
_FIRST_DOES = 60_000  # pieces of a bid: of more no plan is looked for beyond the first

Chosen = Mapping[
    int, Layout
]  # by area, a row of ``Ground.areas``; areas that nothing can be laid on are not in it
#: cuts of jobs solved before, by what a job is and the effort made
Known = dict[tuple[Hashable, str], Cut]
LeftOver = tuple[float, float, str]  # length and width (m) of turf in stock, and its product


@dataclass(frozen=True)
class Setting:
    """What all plans of a bid are made from. ``market``: by product and roll width; ``known``:
    what was cut before, to which what is cut now is added; ``cut_across`` makes a layout of one
    with its strips divided (None: they are not)."""

    ground: Ground
    choices: tuple[Choices, ...]
    market: dict[str, dict[float, Market]]
    rules: CutRules
    layout_rules: LayoutRules
    known: Known
    cut_across: divide.CutAcross | None = None

    @property
    def slanted(self) -> bool:
        """Whether ends may be cut along a chalk line."""
        return self.layout_rules.nesting == "slanted"


@dataclass(frozen=True)
class JobPlan:
    """The ``areas`` of a pool that are laid for one roll ``width``, and how their pieces (n,) are
    cut. ``kind``: row of ``job.size`` of each; ``left_u_m``: where its start line meets its left
    edge, for pieces that may slant (else none); ``square_m2``: what square cuts buy; ``at_hand``:
    length and usable width (m) of each left-over of the job; ``slots``: the pieces in the slots of
    each roll cut, where the plan says which (else those of one size may change places)."""

    width: float
    areas: tuple[int, ...]
    job: Job
    kind: np.ndarray
    cut: Cut
    square_m2: float
    left_u_m: tuple[float, ...] = ()
    at_hand: tuple[tuple[float, float], ...] = ()
    slots: tuple[tuple[int, ...], ...] = ()

    @property
    def bought_m2(self) -> float:
        return self.cut.bought_m(self.job) * self.job.market.roll_width_m

    @property
    def bound_m2(self) -> float:
        """What no plan for these pieces buys less than."""
        return self.cut.bound_m * self.job.market.roll_width_m


@dataclass(frozen=True)
class PoolPlan:
    """The layout of each area of a pool, and a job a roll width. ``square_m2``: what square cuts of
    the layouts that suit these best buy; ``stock_m2``: turf that left-overs at hand could stand
    for."""

    pool: Pool
    layouts: Chosen
    jobs: tuple[JobPlan, ...]
    square_m2: float
    stock_m2: float = 0.0

    @property
    def pieces(self) -> int:
        return sum(len(one.kind) for one in self.jobs)


def turns_for(chosen: Chosen) -> int:
    """How often parts of a large pool are cut again, by the pieces of the whole bid; 0: of so many
    pieces no plan is looked for beyond the first."""
    pieces = sum(len(layout.pieces) for layout in chosen.values())
    if pieces > _FIRST_DOES:
        return 0
    return max(_FEWEST, min(_MOST, _TURNS // max(1, pieces)))


def square(
    setting: Setting, gathered: Sequence[Pool], chosen: Chosen, engine: Engine
) -> list[PoolPlan]:
    """Plans of pools, all pieces cut square and none from stock."""
    turns = turns_for(chosen)
    every = [
        (pool, width, areas) for pool in gathered for width, areas in pools.by_width(pool, chosen)
    ]
    jobs = [
        _job(setting, pool, width, [chosen[area] for area in areas], turns)
        for pool, width, areas in every
    ]
    cuts = _solved([job for job, _ in jobs], engine, setting.known)
    plans: dict[str, list[JobPlan]] = {pool.key: [] for pool in gathered}
    for (pool, width, areas), (job, kind), cut in zip(every, jobs, cuts, strict=True):
        plans[pool.key].append(_square(width, areas, job, kind, cut))
    return [_pooled(pool, chosen, plans[pool.key]) for pool in gathered]


def _pooled(pool: Pool, chosen: Chosen, jobs: Sequence[JobPlan]) -> PoolPlan:
    layouts = {area: chosen[area] for area in pool.areas}
    return PoolPlan(pool, layouts, tuple(jobs), sum(one.square_m2 for one in jobs))


def _square(width: float, areas: Sequence[int], job: Job, kind: np.ndarray, cut: Cut) -> JobPlan:
    return JobPlan(width, tuple(areas), job, kind, cut, cut.bought_m(job) * width)


def _solved(jobs: Sequence[Job], engine: Engine, known: Known) -> list[Cut]:
    """Equal jobs once, and none that is ``known``; the longest first, so that no worker is left
    with it at the end."""
    new = {job.content: job for job in jobs if not _known(job, known)}
    order = sorted(new.values(), key=lambda job: -int(job.demand.sum()))
    runner = engine if sum(job.demand.sum() for job in order) > HEAVY else Serial()
    for job, cut in zip(order, runner.map(solve, order), strict=True):
        known[job.content, job.effort] = cut
    return [_known(job, known)[0] for job in jobs]


def _known(job: Job, known: Known) -> list[Cut]:
    """Cuts of a job that were found with the same effort or more, the most first."""
    efforts = EFFORTS[: EFFORTS.index(job.effort) + 1]
    return [known[job.content, effort] for effort in efforts if (job.content, effort) in known]


def _job(
    setting: Setting,
    pool: Pool,
    width: float,
    layouts: list[Layout],
    turns: int,
    stock: Sequence[tuple[float, float]] = (),
) -> tuple[Job, np.ndarray]:
    """The job of some layouts of one roll width, and the row of ``Job.size`` of each of their
    pieces."""
    market = setting.market[pool.product][width]
    step_m = setting.layout_rules.cut_step_m
    job, kind = pools.make_job(layouts, market, step_m, stock, setting.slanted)
    return replace(job, effort=setting.rules.effort, turns=turns), kind


def divided(setting: Setting, plans: list[PoolPlan], engine: Engine) -> list[PoolPlan]:
    """The plans with strips divided where that fills whole rolls (`divide`)."""
    cut_across = setting.cut_across
    if not (setting.rules.divide and cut_across):
        return plans
    shared = [[_shared_out(setting, plan, one, cut_across) for one in plan.jobs] for plan in plans]
    rows = [row for row, found in enumerate(shared) if any(found)]
    if not rows:
        return plans
    chosen = {area: layout for plan in plans for area, layout in plan.layouts.items()}
    for row in rows:
        for one, found in zip(plans[row].jobs, shared[row], strict=True):
            if found:
                chosen |= dict(zip(one.areas, found.layouts, strict=True))
    out = list(plans)
    again = square(setting, [plans[row].pool for row in rows], chosen, engine)
    for row, plan in zip(rows, again, strict=True):
        jobs = [_cheaper_cut(one, found) for one, found in zip(plan.jobs, shared[row], strict=True)]
        out[row] = _pooled(plan.pool, chosen, jobs)
    return out


@dataclass(frozen=True)
class _SharedOut:
    """Rolls of a job as lanes of lengths of strips, and the layouts that these strips make:
    `divide`."""

    rolls: list[list[divide.Lanes]]
    strips: divide.Strips
    layouts: list[Layout]
    number: dict[int, list[int]]


def _shared_out(
    setting: Setting, plan: PoolPlan, one: JobPlan, cut_across: divide.CutAcross
) -> _SharedOut | None:
    if one.job.market.by_length:
        return None
    layouts = [plan.layouts[area] for area in one.areas]
    alike = frozenset(area for area in one.areas if setting.choices[area].alike >= 0)
    strips = divide.Strips(
        setting.ground, one.areas, layouts, one.job.step_m, setting.layout_rules, alike
    )
    least_m = max(setting.rules.least_length_m, setting.layout_rules.min_piece_length_m)
    rolls = divide.divided(one.job, one.kind, one.cut.bought, strips, least_m)
    if rolls:
        return _SharedOut(rolls, strips, *strips.made(cut_across))
    return None


def _cheaper_cut(one: JobPlan, found: _SharedOut | None) -> JobPlan:
    """The plan of divided strips, cut as they were shared out where that is cheaper."""
    if not found:
        return one
    bought = divide.as_bought(one.job, one.kind, found.rolls, found.strips, found.number)
    better = min(one.cut.bought, bought, key=lambda rolls: _price(one.job, rolls))
    return _square(one.width, one.areas, one.job, one.kind, replace(one.cut, bought=better))


def _price(job: Job, bought: Sequence[Bought]) -> float:
    """Money for purchases."""
    return sum(job.purchase(used(sections))[1] for sections in bought)


def nested_plans(setting: Setting, plans: list[PoolPlan], engine: Engine) -> list[PoolPlan]:
    """The plans made over with chalk lines."""
    works = []
    left = []
    for plan in plans:
        for one in plan.jobs:
            lines, left_u = _lines(setting, one.areas, plan.layouts, one.job.step_m)
            works.append((one.job, one.kind, one.cut, lines))
            left.append(left_u)
    runner = engine if sum(plan.pieces for plan in plans) > HEAVY else Serial()
    made = iter(zip(runner.map(_nest, works), left, strict=True))
    return [
        replace(plan, jobs=tuple(_nested(one, *next(made)) for one in plan.jobs)) for plan in plans
    ]


def _nest(work: tuple[Job, np.ndarray, Cut, np.ndarray]) -> nested.Nest:
    return nested.nest(*work)


def _nested(one: JobPlan, nest: nested.Nest, left_u: np.ndarray) -> JobPlan:
    job, kind, cut = nest
    return replace(
        one,
        job=job,
        kind=kind,
        cut=cut,
        left_u_m=tuple(left_u.tolist()),
    )


def _lines(
    setting: Setting, areas: Sequence[int], layouts: Chosen, step_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Chalk lines of all pieces of the areas, int (n, 3), and where they meet the left edge
    (n,)."""
    rules = setting.layout_rules
    found = [nested.lines_of(setting.ground, area, layouts[area], rules, step_m) for area in areas]
    return np.concatenate([lines for lines, _ in found]), np.concatenate(
        [left for _, left in found]
    )


def cheaper(one: PoolPlan, other: PoolPlan, rules: LayoutRules) -> PoolPlan:
    """The cheaper of two plans of a pool, turf and seams; what square cuts buy is told by the
    first."""
    best = one
    if cost(other, rules) < cost(one, rules) - 1e-6:
        best = other
    return replace(best, square_m2=one.square_m2)


def cost(plan: PoolPlan, rules: LayoutRules) -> float:
    """Money for a pool's turf and its seams."""
    turf = sum(_price(one.job, one.cut.bought) for one in plan.jobs)
    return turf + sum(settle.seams(plan.layouts[area], rules) for area in plan.pool.areas)


def from_stock(setting: Setting, gathered: Sequence[Pool], chosen: Chosen) -> list[PoolPlan]:
    """Plans of pools, each from what those before it leave of the stock."""
    every = ((one.length_m, one.width_m, one.product) for one in setting.rules.stock)
    stock: list[LeftOver] = sorted(every, reverse=True)
    turns = turns_for(chosen)
    plans = []
    for pool in gathered:
        others = [one for one in stock if one[2] != pool.product]
        before = [one for one in stock if one[2] == pool.product]
        left = before
        jobs = list[JobPlan]()
        for width, areas in pools.by_width(pool, chosen):
            layouts = {area: chosen[area] for area in areas}
            jobs.append(_from_stock(setting, pool, width, layouts, turns, (before, left)))
            left = _less(left, jobs[-1].cut)
        plan = _pooled(pool, chosen, jobs)
        plans.append(replace(plan, stock_m2=_stock_m2(setting, pool, before)))
        stock = sorted([*others, *left], reverse=True)
    return plans


def _less(stock: list[LeftOver], cut: Cut) -> list[LeftOver]:
    """The stock without what was cut from it."""
    gone = {row for row, _ in cut.from_stock}
    return [one for row, one in enumerate(stock) if row not in gone]


def _from_stock(
    setting: Setting,
    pool: Pool,
    width: float,
    layouts: Chosen,
    turns: int,
    stock: tuple[list[LeftOver], list[LeftOver]],
) -> JobPlan:
    """The areas laid for one roll width. ``stock`` of the product: before any width of the pool
    used of it, and what is left now."""
    before, left = stock
    areas = list(layouts)
    laid = list(layouts.values())
    at_hand = _usable(left, laid[0])
    job, kind = _job(setting, pool, width, laid, turns, at_hand)
    plan = _square(width, areas, job, kind, solve(job))
    if setting.slanted:
        lines, left_u = _lines(setting, areas, layouts, job.step_m)
        plan = _nested(plan, nested.nest(job, kind, plan.cut, lines), left_u)
    if len(before) > len(left):  # what another width was given might have served here
        free, _ = _job(setting, pool, width, laid, turns, _usable(before, laid[0]))
        least_m: Callable[[Job], float] = nested.least_m if setting.slanted else dual.least_m
        bound_m = least_m(replace(plan.job, left_overs=free.left_overs))
        plan = replace(plan, cut=replace(plan.cut, bound_m=bound_m))
    return replace(plan, at_hand=tuple(at_hand))


def _usable(stock: Sequence[LeftOver], layout: Layout) -> list[tuple[float, float]]:
    """Length and width of left-overs, no wider than is usable of the roll that the layout is
    for."""
    return [(length, min(width, layout.width_m)) for length, width, _ in stock]


def _stock_m2(setting: Setting, pool: Pool, stock: Sequence[LeftOver]) -> float:
    """Most turf bought that left-overs at hand can stand for: usable area at the widest selvage of
    the pool."""
    usable = sum(length * width for length, width, _ in stock)
    layouts = [layout for area in pool.areas for layout in setting.choices[area].layouts]
    return usable * max(layout.roll_width_m / layout.width_m for layout in layouts)
