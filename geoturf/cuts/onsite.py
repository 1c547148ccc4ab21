"""Plans for rolls that are cut on site, lot by lot in the order of work.

Pools whose lots are worked between each other are planned together (`carried`), since what is open
is counted over all turf on the ground; others each by itself. Beside them stands the plan that is
free to open any number of rolls: what the limit costs is the difference, and where that plan keeps
the limits anyway it is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np
import pandas as pd

from geoturf.cuts import carried, dual, planned, settle, work
from geoturf.cuts.job import Bought, Job
from geoturf.cuts.market import Market, to_steps, width_key
from geoturf.cuts.order import sequence
from geoturf.cuts.planned import Chosen, JobPlan, PoolPlan, Setting
from geoturf.cuts.pools import Pool, by_width, make_job
from geoturf.cuts.sections import tidy
from geoturf.cuts.solve import Cut
from geoturf.engine import Engine
from geoturf.model import Layout, saved_m2
from geoturf.units import round_down

_AN_AREA, _FEWEST = 8000, 1000  # rounds of the search for an area of a small task, of a large
_AT_MOST = 2_000_000  # in a task of neither kind
_SCALE = 300_000  # the dearest whole roll, in the whole numbers of the search
_HEAT = (3000, 200)  # of that scale: what a change may cost more, at first and at last
_BROKEN = 3000  # of it: what a broken rule weighs at least while the search goes on
_REACH = 4  # lots between pieces that are looked at together
_ANY = 0  # stands for any number of open rolls
_SEED = 88_172_645_463_325_252  # Marsaglia's own, from memory
_SMOOTH = 0.5  # of whole rolls: weight of what is bought against what is used, at first
_CHANCES = np.rint(-np.log((np.arange(1024) + 0.5) / 1024) * 1024).astype(np.int64)

Lanes = list[list[int]]  # of a section: numbers of pieces


@dataclass(frozen=True)
class Task:
    """Pools planned together: the tables of the search, and the layout in each row of its table of
    layouts, with the area that it is of."""

    pools: tuple[Pool, ...]
    tables: carried.Plan
    layouts: tuple[tuple[int, Layout], ...]


def plans(
    setting: Setting, free: Sequence[PoolPlan], order: Sequence[str], engine: Engine
) -> tuple[list[PoolPlan], pd.DataFrame]:
    """The plans of all pools for cutting on site in this ``order`` of sites, and what each number
    of open rolls comes to. ``free``: the plans that may open any number."""
    rank = {site: at for at, site in enumerate(order)}
    at = setting.ground.areas["site"].astype(str).map(rank).to_numpy(int)
    blocks = _blocks([plan.pool for plan in free], at)
    laid = {area: layout for plan in free for area, layout in plan.layouts.items()}
    tasks = [_task(setting, pools, at, laid) for pools in blocks]
    limits = sorted({*setting.rules.open_rolls_compared, setting.rules.open_rolls})
    found = iter(engine.map(_search, [(task, limit) for limit in limits for task in tasks]))
    known = {plan.pool.key: _assigned(plan, at) for plan in free}
    made: dict[int, list[PoolPlan]] = {}
    for limit in limits:
        rules = setting.rules.model_copy(update={"open_rolls": limit})
        by_key: dict[str, PoolPlan] = {}
        for task in tasks:
            mine = _read(setting, task, at, *next(found))
            other = [known[pool.key] for pool in task.pools]
            for plan in _better(replace(setting, rules=rules), mine, other, at):
                by_key[plan.pool.key] = plan
        made[limit] = [by_key[plan.pool.key] for plan in free]
    made[_ANY] = list(known.values())
    for fewer, more in pairwise(made):  # what few rolls do, more do too
        made[more] = min(made[more], made[fewer], key=partial(_cost, setting))
    rows = [_trade_row(setting, plans, at, limit) for limit, plans in made.items()]
    return made[setting.rules.open_rolls], pd.DataFrame(rows, columns=TRADE)


def _cost(setting: Setting, plans: Sequence[PoolPlan]) -> float:
    """Money for turf and seams."""
    return sum(planned.cost(plan, setting.layout_rules) for plan in plans)


TRADE = ["open_rolls", "most", "rolls", "bought_m2", "money", "drawn_median", "drawn_most"]


def _trade_row(
    setting: Setting, plans: Sequence[PoolPlan], at: np.ndarray, limit: int
) -> tuple[float, ...]:
    """A row of `TRADE`: the limit (0: none) and what a plan of all pools comes to. ``money`` is
    that of turf and seams."""
    rows = _standing(plans, at)
    drawn = rows["drawn"][rows["drawn"] > 0]
    bought = sum(one.bought_m2 for plan in plans for one in plan.jobs)
    money = _cost(setting, plans)
    rolls = sum(len(one.cut.bought) for plan in plans for one in plan.jobs)
    most = int(rows["most"].max()) if len(rows) else 0
    median, top = (float(drawn.median()), int(drawn.max())) if len(drawn) else (0.0, 0)
    return limit, most, rolls, bought, money, median, top


def _better(
    setting: Setting, mine: list[PoolPlan], free: list[PoolPlan], at: np.ndarray
) -> list[PoolPlan]:
    """The plans that may open any number, where they keep the limits and cost no more."""
    if not work.keeps(_standing(free, at), setting.rules):
        return mine
    if _cost(setting, free) <= _cost(setting, mine) + 1e-6:
        return free
    return mine


def _standing(plans: Sequence[PoolPlan], at: np.ndarray) -> pd.DataFrame:
    """What lies open at each lot."""
    rolls = []
    lots = []
    count = 0
    for plan in plans:
        for one in plan.jobs:
            lot = _lots(plan, one, at)
            for pieces in one.slots:
                rolls += [count] * len(pieces)
                lots += [lot[piece] for piece in pieces]
                count += 1
    every = int(at.max(initial=-1)) + 1
    return work.standing(np.array(rolls, np.int64), np.array(lots, np.int64), every)


def _lots(plan: PoolPlan, one: JobPlan, at: np.ndarray) -> list[int]:
    """Place in the order of work of each piece of a job."""
    counts = [len(plan.layouts[area].pieces) for area in one.areas]
    lots: list[int] = np.repeat(at[list(one.areas)], counts).tolist()
    return lots


def _assigned(plan: PoolPlan, at: np.ndarray) -> PoolPlan:
    """The plan with the pieces in the slots of each roll."""
    return replace(plan, jobs=tuple(_filled(plan, one, at) for one in plan.jobs))


def _filled(plan: PoolPlan, one: JobPlan, at: np.ndarray) -> JobPlan:
    done = sequence(one.cut.rolls, one.kind.tolist(), _lots(plan, one, at))
    slots = dict(done)
    return replace(one, slots=tuple(tuple(slots[row]) for row in range(len(one.cut.rolls))))


def _blocks(pools: Sequence[Pool], at: np.ndarray) -> list[tuple[Pool, ...]]:
    """Pools gathered where their lots, from the first to the last in the order of work, overlap."""
    spans: dict[str, list[Pool]] = {}
    for pool in pools:
        spans.setdefault(pool.phase, []).append(pool)
    ends = [
        (
            min(at[a] for p in mine for a in p.areas),
            max(at[a] for p in mine for a in p.areas),
            phase,
        )
        for phase, mine in spans.items()
    ]
    blocks: list[tuple[Pool, ...]] = []
    reached = -1
    for first, last, phase in sorted(ends):
        if blocks and first <= reached:
            blocks[-1] = (*blocks[-1], *spans[phase])
        else:
            blocks.append(tuple(spans[phase]))
        reached = max(reached, last)
    return blocks


def _task(setting: Setting, pools: tuple[Pool, ...], at: np.ndarray, laid: Chosen) -> Task:
    """The tables of a search (`carried.Plan`). Sizes are counted in cut steps. ``laid``: the
    layouts that areas have where any number of rolls may lie open; those laid alike keep theirs."""
    lots = np.unique([at[area] for pool in pools for area in pool.areas])
    made = _Tables(setting, len(lots), laid)
    for pool in pools:
        rank = np.searchsorted(lots, at[list(pool.areas)])
        made.add(pool, rank)
    return Task(pools, made.whole(), tuple(made.named))


class _Tables:
    """The tables of a search while they are filled, pool by pool."""

    def __init__(self, setting: Setting, lots: int, laid: Chosen):
        self.setting = setting
        self.lots = lots
        self.laid = laid
        self.step_m = setting.layout_rules.cut_step_m
        self.groups: dict[tuple[str, float], int] = {}
        self.markets: list[Market] = []
        self.group: list[tuple[int, int, int]] = []
        self.near: list[np.ndarray] = []
        self.piece: list[tuple[int, ...]] = []
        self.area: list[tuple[int, ...]] = []
        self.named: list[tuple[int, Layout]] = []
        self.ends: list[tuple[int, int]] = []  # of the pieces of each layout

    def add(self, pool: Pool, rank: np.ndarray) -> None:
        """A pool; ``rank``: the place of each of its areas among the lots of the task."""
        order = np.argsort(rank, kind="stable")
        begun = len(self.area)
        for k in order.tolist():
            first = len(self.named)
            for layout in self._offered(pool.areas[k]):
                self._offer(pool, pool.areas[k], int(rank[k]), layout)
            self.area.append((*self.ends[first], first, len(self.named), first))
        starts = np.searchsorted(rank[order], np.arange(self.lots + 1))
        self.near.append(begun + starts)

    def _offered(self, area: int) -> list[Layout]:
        """The layouts that an area may take."""
        choice = self.setting.choices[area]
        if choice.alike >= 0:
            return [self.laid[area]]
        return [one for one in choice.layouts if saved_m2(one, choice.layouts) > 0]

    def _offer(self, pool: Pool, area: int, lot: int, layout: Layout) -> None:
        group = self._group(pool, layout)
        usable = round_down(layout.width_m, self.step_m)
        cut = layout.cut.reshape(-1, 2)
        full = cut[:, 1] >= layout.width_m - 1e-9
        long = to_steps(cut[:, 0], self.step_m)
        wide = np.where(full, usable, to_steps(cut[:, 1], self.step_m))
        first = len(self.piece)
        sizes = zip(long.tolist(), wide.tolist(), strict=True)
        self.piece += [(*size, lot, group, -1) for size in sizes]
        self.named.append((area, layout))
        self.ends.append((first, len(self.piece)))

    def _group(self, pool: Pool, layout: Layout) -> int:
        """The turf of a pool in the width that a layout is for."""
        key = (pool.key, width_key(layout.roll_width_m))
        if key not in self.groups:
            self.groups[key] = len(self.groups)
            market = self.setting.market[pool.product][key[1]]
            usable = round_down(layout.width_m, self.step_m)
            longest = round_down(market.lengths_m[0], self.step_m)
            self.group.append((usable, longest, len(self.near)))
            self.markets.append(market)
        return self.groups[key]

    def whole(self) -> carried.Plan:
        """The tables with nothing laid."""
        rules = self.setting.rules
        scale = _SCALE / max(max(market.prices) for market in self.markets)
        products = self.setting.ground.areas["product"]
        said = self.setting.layout_rules
        weights = [
            settle.weight(layout, self.setting.market[str(products.iat[area])], said)
            for area, layout in self.named
        ]
        ends = zip(self.ends, weights, strict=True)
        layout = [(*pieces, round(money * scale)) for pieces, money in ends]
        dearest = max(market.cheapest for market in self.markets)
        draw = round(rules.draw_length_m * dearest * scale)
        most = [max(b - a for a, b in self.ends[x[2] : x[3]]) for x in self.area]
        rows = sum(most) + 1
        free = np.tile(np.arange(rows, -1, -1), (3, 1))  # their number, then the rows, last first
        free[:, 0] = rows
        return carried.Plan(
            piece=np.array(self.piece, np.int64).reshape(-1, 5),
            group=np.array(self.group, np.int64),
            area=np.array(self.area, np.int64),
            layout=np.array(layout, np.int64),
            bills=_bills(self.markets, self.step_m, scale),
            near=np.array(self.near, np.int64),
            rule=np.array([rules.open_rolls, rules.rolls_per_lot, draw, _BROKEN, _REACH]),
            lane=np.zeros((rows, carried.HELD + carried.LANE_HOLDS), np.int64),
            section=np.zeros((rows, carried.HELD + carried.SECTION_HOLDS), np.int64),
            roll=np.zeros((rows, carried.HELD + carried.ROLL_HOLDS), np.int64),
            lot=np.zeros((self.lots, carried.SEEN + 1), np.int64),
            free=free,
            met=np.zeros(rows, np.int64),
            seen=np.zeros((rows, 2), np.int64),
            tally=np.array([0, 0, _SEED, 0, 0]),
        )


def _bills(markets: Sequence[Market], step_m: float, scale: float) -> np.ndarray:
    """What so many steps of each turf cost, smoothed so that every step spared counts, and as they
    are billed."""
    longest = max(round_down(market.lengths_m[0], step_m) for market in markets)
    bills = np.zeros((2, len(markets), longest + 1), np.int64)
    for k, market in enumerate(markets):
        steps = np.arange(1, round_down(market.lengths_m[0], step_m) + 1)
        billed = np.array([market.purchase(one * step_m)[1] for one in steps.tolist()])
        used = steps * step_m * market.cheapest
        smooth = used + market.billing_m * market.cheapest / 2
        if not market.by_length:
            smooth = _SMOOTH * billed + (1 - _SMOOTH) * used
        bills[0, k, steps] = np.rint(smooth * scale)
        bills[1, k, steps] = np.rint(billed * scale)
    return bills


def _search(work: tuple[Task, int]) -> tuple[np.ndarray, np.ndarray]:
    """Where the pieces of a task lie, and which layouts they are of (`carried.carried_on`), with so
    many rolls open."""
    task, limit = work
    tables = carried.Plan(*(table.copy() for table in task.tables))
    tables.rule[carried.OPEN_ROLLS] = limit
    rounds = min(_AN_AREA * len(tables.area), max(_AT_MOST, _FEWEST * len(tables.area)))
    return carried.carried_on(tables, rounds, np.array(_HEAT), _CHANCES)


def _read(
    setting: Setting, task: Task, at: np.ndarray, where: np.ndarray, chosen: np.ndarray
) -> list[PoolPlan]:
    """Plans of the pools of a task from what the search found."""
    layouts: dict[int, Layout] = dict(task.layouts[row] for row in chosen.tolist())
    places: dict[int, list[list[int]]] = {}
    for row in chosen.tolist():
        first, end = task.tables.layout[row, :2].tolist()
        places[task.layouts[row][0]] = where[first:end].tolist()
    return [_pool_plan(setting, pool, layouts, places, at) for pool in task.pools]


def _pool_plan(
    setting: Setting,
    pool: Pool,
    layouts: Chosen,
    places: dict[int, list[list[int]]],
    at: np.ndarray,
) -> PoolPlan:
    jobs = []
    for width, areas in by_width(pool, layouts):
        laid = [layouts[area] for area in areas]
        step_m = setting.layout_rules.cut_step_m
        job, kind = make_job(laid, setting.market[pool.product][width], step_m)
        lots = [int(at[area]) for area in areas for _ in places[area]]
        rolls = _gathered([place for area in areas for place in places[area]], lots)
        made = [_tidied(job, kind.tolist(), sections) for sections in rolls]
        cut = Cut((), tuple(bought for bought, _ in made), dual.least_m(job))
        slots = tuple(slots for _, slots in made)
        bought_m2 = cut.bought_m(job) * width
        jobs.append(JobPlan(width, tuple(areas), job, kind, cut, bought_m2, slots=slots))
    square_m2 = sum(one.square_m2 for one in jobs)
    return PoolPlan(pool, {area: layouts[area] for area in pool.areas}, tuple(jobs), square_m2)


def _gathered(places: Sequence[Sequence[int]], lots: Sequence[int]) -> list[list[Lanes]]:
    """Rolls of sections of lanes of pieces from the lane, section and roll of each: what is needed
    first is cut first."""
    rolls: dict[int, dict[int, dict[int, list[int]]]] = {}
    for piece in sorted(range(len(places)), key=lambda piece: (lots[piece], piece)):
        lane, section, roll = places[piece]
        rolls.setdefault(roll, {}).setdefault(section, {}).setdefault(lane, []).append(piece)
    return [[list(lanes.values()) for lanes in roll.values()] for roll in rolls.values()]


def _tidied(job: Job, kind: list[int], sections: list[Lanes]) -> tuple[Bought, tuple[int, ...]]:
    """A roll in the sizes of its job, and the pieces in its slots."""
    bought = []
    slots = list[int]()
    for lanes in sections:
        ends = [sorted(lane, key=lambda piece: (kind[piece], piece)) for lane in lanes]
        bought.append(tidy(job, [tuple(kind[piece] for piece in lane) for lane in ends]))
        wide = [max(int(job.size[kind[piece], 1]) for piece in lane) for lane in ends]
        named = zip(wide, [tuple(kind[p] for p in lane) for lane in ends], ends, strict=True)
        slots += [piece for *_, lane in sorted(named, reverse=True) for piece in lane]
    return tuple(bought), tuple(slots)
