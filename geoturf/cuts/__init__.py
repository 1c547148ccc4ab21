"""The cut plan: which layout each area gets and which roll each piece is cut from, beside what no plan in
strips from border to border can beat.

`plan` gathers areas into pools, chooses a layout for each area, cuts each pool's pieces from rolls and writes it down; `proven`
adds the bound.

    market.py    what can be bought, for how much
    pools.py     areas to pools, a pool's pieces to jobs in whole grid steps (job.py)
    sections.py  pieces to sections; rolls.py  sections to purchases; solve.py  a whole job
    dual.py      bounds for any cutting
    swap.py      layouts chosen for a pool; settle.py  for a small one, by what it really buys
    divide.py    strips divided where that fills whole rolls
    program.py   sections by linear programme; levels.py  with purchases in it; pricing.py  the knapsacks of both
    order.py     which equal piece fills which slot, and which roll is cut next
    slanted.py   chalk lines and chains of pieces; nested.py  a square plan made over with them
    by_hand.py   what a careful estimator would order by hand, each area alone
    nouns.py     solved jobs to tables; proof.py  beside them what no layout in strips can beat
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from geoturf.cuts import by_hand, divide, dual, nested, nouns, pools, proof, settle, swap
from geoturf.cuts.job import Bought, Job, used
from geoturf.cuts.market import Market, markets, width_key
from geoturf.cuts.nested import Nest
from geoturf.cuts.order import sequence
from geoturf.cuts.pools import Pool
from geoturf.cuts.proof import proven
from geoturf.cuts.solve import Cut, solve
from geoturf.engine import Engine, Serial
from geoturf.model import Choices, CutPlan, Ground, Layout
from geoturf.rules import CutRules, LayoutRules, Product

__all__ = ["plan", "proven"]

POOLS = [
    *("pool", "phase", "product", "pieces", "rolls", "bought_m2", "needed_m2"),
    *("cut_bound_m2", "by_hand_m2", "status", "square_m2", "stock_m2"),
]

_HEAVY = 400  # pieces from which workers are worth starting
_TURNS = 40_000  # over the pieces of a bid: turns for which its large pools by length are worked on
_FEWEST, _MOST = 2, 12  # of those turns


def plan(
    ground: Ground,
    choices: tuple[Choices, ...],
    products: dict[str, Product],
    rules: CutRules,
    tick: Callable[[int], Any] | None = None,
    layout_rules: LayoutRules | None = None,
    engine: Engine | None = None,
) -> CutPlan:
    """Rolls for all areas. ``layout_rules`` give what seams cost against turf and whether ends may slant; ``tick(n)`` is told
    when n pools are done; ``engine`` solves pools side by side.

    Raises `PromiseError` if a plan would break a promise of its own, such as buying less than its pieces need.
    """
    layout_rules, engine = layout_rules or LayoutRules(), engine or Serial()
    gathered = pools.gather(ground, choices, rules)
    market = {name: markets(product, rules) for name, product in products.items()}
    pools.assert_cuttable(ground, choices, market)
    chosen = swap.choose(gathered, choices, market, layout_rules, engine)
    run = _Run(ground, choices, chosen, market, rules, layout_rules)
    if not run.stock:  # no pool waits for what another leaves of the stock
        run.solved = run.solve_ahead(gathered, engine)
        run = run.divided(gathered, engine)
        if layout_rules.nesting == "slanted":
            spared = partial(nested.spared_m2, ground, rules=layout_rules)
            nestable = swap.choose(gathered, choices, market, layout_rules, engine, spared)
            other = _Run(ground, choices, nestable, market, rules, layout_rules)
            other.solved = other.solve_ahead(gathered, engine)
            other = other.divided(gathered, engine)
            for one in (run, other):
                one.nest_ahead(gathered, engine)
            run = _cheaper(gathered, run, other)
    cut = [run.cut(pool) for pool in gathered]
    orders = iter(run.orders([job for done in cut for job in done.jobs], engine))
    for done in cut:
        run.enter(done, [next(orders) for _ in done.jobs])
        if tick:
            tick(1)
    pieces = nouns.pieces_table(ground, run.chosen, run.book)
    return CutPlan(
        pieces=pieces,
        rolls=run.book.rolls_table(),
        pools=pd.DataFrame(run.rows, columns=POOLS),
        stock=run.book.stock_table(),
        chosen=nouns.chosen_table(run.chosen, choices, run.bought_m2, pieces),
        seams=nouns.seams_table(run.chosen),
    )


def _cheaper(gathered: list[Pool], run: _Run, other: _Run) -> _Run:
    """A run in which every pool is laid as the cheaper of two has it. What square cuts buy is told by the first."""
    chosen, solved, nests, square_m2 = list(run.chosen), dict(run.solved), dict(run.nested), {}
    for pool in gathered:
        cost, square_m2[pool.key] = run.cost(pool)
        if other.cost(pool)[0] < cost - 1e-6:
            for area in pool.areas:
                chosen[area] = other.chosen[area]
            solved |= {key: cut for key, cut in other.solved.items() if key[0] == pool.key}
            nests |= {key: nest for key, nest in other.nested.items() if key[0] == pool.key}
    best = _Run(run.ground, run.choices, chosen, run.market, run.rules, run.layout_rules)
    best.solved, best.nested, best.square_m2 = solved, nests, square_m2
    return best


@dataclass(frozen=True)
class _CutJob:
    """A job as it was cut. ``numbers``, ``kinds``, ``lots``: number in the bid, row of ``job.size`` and lot of each piece;
    ``square_m2``: what square cuts would buy; ``at_hand``: length and usable width (m) of each left-over of the job."""

    job: Job
    cut: Cut
    numbers: list[int]
    kinds: list[int]
    lots: list[int]
    square_m2: float
    at_hand: list[tuple[float, float]]


@dataclass(frozen=True)
class _CutPool:
    """A pool as it was cut: a job a roll width, and the turf that left-overs at hand could stand for (m2)."""

    pool: Pool
    jobs: list[_CutJob]
    stock_m2: float


class _Run:
    """Pools cut one after the other: what is written down, bought and taken from stock so far."""

    def __init__(
        self,
        ground: Ground,
        choices: tuple[Choices, ...],
        chosen: list[Layout | None],
        market: dict[str, dict[float, Market]],
        rules: CutRules,
        layout_rules: LayoutRules,
    ):
        self.rules, self.layout_rules = rules, layout_rules
        self.solved: dict[tuple[str, float], Cut] = {}  # square cuts made ahead, by pool and roll width
        self.nested: dict[tuple[str, float], Nest] = {}  # the same, made over with chalk lines
        self.square_m2: dict[str, float] = {}  # what square cuts of other layouts would buy, by pool
        self.ground, self.choices, self.chosen, self.market = ground, choices, chosen, market
        counts = [len(layout.pieces) if layout is not None else 0 for layout in chosen]
        self.first = np.concatenate([[0], np.cumsum(counts)]).astype(int)  # number of each area's first piece
        self.turns = max(_FEWEST, min(_MOST, _TURNS // max(1, int(self.first[-1]))))
        self.lots = pd.factorize(ground.areas["site"].astype(str))[0]
        self.stock = sorted(((s.length_m, s.width_m, s.product) for s in rules.stock), reverse=True)
        self.book = nouns.Book(int(self.first[-1]), rules)
        self.bought_m2 = np.zeros(len(chosen))
        self.rows: list[tuple] = []

    def _every(self, gathered: list[Pool]) -> list[tuple[Pool, float, list[int]]]:
        """Pools by roll width, and the areas laid for it."""
        return [(pool, width, areas) for pool in gathered for width, areas in pools.by_width(pool, self.chosen)]

    def solve_ahead(self, gathered: list[Pool], engine: Engine) -> dict[tuple[str, float], Cut]:
        """Square cuts of all pools, by pool and roll width."""
        every = self._every(gathered)
        jobs = [self._job(pool, width, areas, [])[0] for pool, width, areas in every]
        pieces = np.array([int(job.demand.sum()) for job in jobs])
        order = np.argsort(
            -pieces, kind="stable"
        ).tolist()  # the longest first, so that no worker is left with it at the end
        cuts = (engine if pieces.sum() > _HEAVY else Serial()).map(solve, [jobs[k] for k in order])
        return {(every[k][0].key, every[k][1]): cut for k, cut in zip(order, cuts, strict=True)}

    def divided(self, gathered: list[Pool], engine: Engine) -> _Run:
        """The run with strips divided where that fills whole rolls (`divide`); itself where it does not."""
        made = {}
        for pool in gathered if self.rules.divide else ():
            for width, areas in pools.by_width(pool, self.chosen):
                if self.market[pool.product][width].by_length:
                    continue
                job, kind = self._job(pool, width, areas, [])
                layouts = [self.chosen[area] for area in areas]
                strips = divide.Strips(self.ground, areas, layouts, job.step_m, self.layout_rules)
                bought = self.solved[pool.key, width].bought
                rolls = divide.divided(job, kind, bought, strips, self.rules.least_length_m)
                if rolls:
                    made[pool.key, width] = pool, areas, rolls, strips, *strips.made()
        if not made:
            return self
        chosen = list(self.chosen)
        for _, areas, _, _, layouts, _ in made.values():
            for area, layout in zip(areas, layouts, strict=True):
                chosen[area] = layout
        run = _Run(self.ground, self.choices, chosen, self.market, self.rules, self.layout_rules)
        run.solved = self.solved | run.solve_ahead(
            list({key: pool for key, (pool, *_) in made.items()}.values()), engine
        )
        for (key, width), (pool, areas, rolls, strips, _, number) in made.items():
            job, kind = run._job(pool, width, areas, [])
            cut, bought = run.solved[key, width], divide.as_bought(job, kind, rolls, strips, number)
            better = min(cut.bought, bought, key=lambda plan: sum(job.purchase(used(one))[1] for one in plan))
            run.solved[key, width] = replace(cut, bought=better)
        return run

    def nest_ahead(self, gathered: list[Pool], engine: Engine) -> None:
        """Makes the square cuts of all pools over with chalk lines."""
        every = self._every(gathered)
        works = []
        for pool, width, areas in every:
            job, kind = self._job(pool, width, areas, [])
            works.append((job, kind, self.solved[pool.key, width], self._lines(areas, job.step_m)[0]))
        runner = engine if self.book.pieces > _HEAVY else Serial()
        made = runner.map(_nest, works)
        self.nested = {(pool.key, width): nest for (pool, width, _), nest in zip(every, made, strict=True)}

    def cost(self, pool: Pool) -> tuple[float, float]:
        """Money for a pool's turf, nested, and its seams; and what square cuts would buy (m2)."""
        rules, total, square_m2 = self.layout_rules, 0.0, 0.0
        for width, _ in pools.by_width(pool, self.chosen):
            job, _, cut = self.nested[pool.key, width]
            square_m2 += self.solved[pool.key, width].bought_m(job) * width
            total += sum(job.purchase(used(sections))[1] for sections in cut.bought)
        seams = sum(settle.seams(self.chosen[area], rules) for area in pool.areas)
        return total + seams, square_m2

    def _lines(self, areas: list[int], step_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Chalk lines of all pieces of the areas, and where they meet the left edge."""
        found = [nested.lines_of(self.ground, area, self.chosen[area], self.layout_rules, step_m) for area in areas]
        return np.concatenate([lines for lines, _ in found]), np.concatenate([left for _, left in found])

    def _job(
        self, pool: Pool, width: float, areas: list[int], stock: list[tuple[float, float]]
    ) -> tuple[Job, np.ndarray]:
        layouts, fine = [self.chosen[a] for a in areas], self.layout_rules.nesting == "slanted"
        job, kind = pools.make_job(layouts, self.market[pool.product][width], self.layout_rules.cut_step_m, stock, fine)
        return replace(job, thorough=self.rules.effort == "thorough", turns=self.turns), kind

    def cut(self, pool: Pool) -> _CutPool:
        """One pool, from what is in stock now."""
        stock = self._stock_m2(pool)  # before any of it is used
        before = [left_over for left_over in self.stock if left_over[2] == pool.product]
        jobs = [self._cut(pool, width, areas, before) for width, areas in pools.by_width(pool, self.chosen)]
        return _CutPool(pool, jobs, stock)

    def _cut(self, pool: Pool, width: float, areas: list[int], before: list[tuple[float, float, str]]) -> _CutJob:
        """The areas laid for one roll width. ``before``: the stock as no width of the pool had used any."""
        mine = [k for k, (_, _, product) in enumerate(self.stock) if product == pool.product]
        at_hand = self._usable([self.stock[k] for k in mine], areas)
        job, kind = self._job(pool, width, areas, at_hand)
        cut = self.solved.get((pool.key, width)) or solve(job)
        square_m2 = cut.bought_m(job) * width
        numbers = np.concatenate([np.arange(self.first[area], self.first[area + 1]) for area in areas])
        if self.layout_rules.nesting == "slanted":
            lines, left_u = self._lines(areas, job.step_m)
            job, kind, cut = self.nested.get((pool.key, width)) or nested.nest(job, kind, cut, lines)
            self.book.left_u_m.update(zip(numbers.tolist(), left_u.tolist(), strict=True))
        if len(before) > len(mine):  # what another width was given might have served here
            free = self._job(pool, width, areas, self._usable(before, areas))[0].left_overs
            least_m = nested.least_m if self.layout_rules.nesting == "slanted" else dual.least_m
            cut = replace(cut, bound_m=least_m(replace(job, left_overs=free)))
        for at in sorted((mine[row] for row, _ in cut.from_stock), reverse=True):
            self.stock.pop(at)
        lots = np.repeat(self.lots[areas], [len(self.chosen[area].pieces) for area in areas])
        return _CutJob(job, cut, numbers.tolist(), kind.tolist(), lots.tolist(), square_m2, at_hand)

    def _usable(self, stock: list[tuple[float, float, str]], areas: list[int]) -> list[tuple[float, float]]:
        """Length and width of left-overs, no wider than is usable of the roll that the areas are laid for."""
        widest = self.chosen[areas[0]].width_m
        return [(length, min(width, widest)) for length, width, _ in stock]

    def orders(self, jobs: list[_CutJob], engine: Engine) -> list[list[tuple[int, list[int]]]]:
        """In which order each job's rolls are cut."""
        runner = engine if self.book.pieces > _HEAVY else Serial()
        return runner.map(_order, [(done.cut.rolls, done.kinds, done.lots) for done in jobs])

    def enter(self, done: _CutPool, orders: list[list[tuple[int, list[int]]]]) -> None:
        """A pool's rolls, and its line."""
        pool = done.pool
        for one, order in zip(done.jobs, orders, strict=True):
            self.book.enter(pool, one.job, one.cut, one.at_hand, one.numbers, order)
        bought = sum(one.cut.bought_m(one.job) * one.job.market.roll_width_m for one in done.jobs)
        cut_bound = sum(one.cut.bound_m * one.job.market.roll_width_m for one in done.jobs)
        cut_bound = proof.kept(pool.key, bought, cut_bound)
        areas = list(pool.areas)
        weights = np.array([nouns.cut_m2(self.chosen[area]) for area in areas])
        self.bought_m2[areas] = nouns.shares(bought, weights)
        self.rows.append(
            (
                *(pool.key, pool.phase, pool.product),
                sum(len(one.numbers) for one in done.jobs),
                sum(len(one.cut.bought) for one in done.jobs),
                bought,
                float(self.ground.areas["surface_area_m2"].to_numpy(float)[areas].sum()),
                cut_bound,
                sum(self._by_hand_m2(pool, area) for area in areas),
                self._status(pool, bought, cut_bound),
                self.square_m2.get(pool.key, sum(one.square_m2 for one in done.jobs)),
                done.stock_m2,
            )
        )

    def _stock_m2(self, pool: Pool) -> float:
        """Most turf bought that left-overs at hand can stand for: usable area at the widest selvage of the pool."""
        usable = sum(length * width for length, width, product in self.stock if product == pool.product)
        layouts = [layout for area in pool.areas for layout in self.choices[area].layouts]
        return usable * max(layout.roll_width_m / layout.width_m for layout in layouts)

    def _by_hand_m2(self, pool: Pool, area: int) -> float:
        layouts = self.choices[area].by_hand
        market = self.market[pool.product][width_key(layouts[0].roll_width_m)]
        return by_hand.bought_m2(layouts, market, self.layout_rules.min_piece_width_m)

    def _status(self, pool: Pool, bought: float, bound: float) -> str:
        """``proven``, or how far the plan may be from the best, in words."""
        gap = bought - bound
        market = self.market[pool.product].values()
        if gap <= 1e-6 * max(1.0, bound):
            return "proven"
        one = min(length for offer in market for length in offer.lengths_m) * min(o.roll_width_m for o in market)
        if not any(offer.by_length for offer in market):
            rolls = math.ceil(gap / one - 1e-6)
            return f"{rolls} roll{'s' if rolls > 1 else ''} above the bound"
        return f"{100 * gap / bound:.2g} % above the bound" if bound > 0 else "not bounded"


def _order(job: tuple[list[Bought], list[int], list[int]]) -> list[tuple[int, list[int]]]:
    return sequence(*job)


def _nest(work: tuple[Job, np.ndarray, Cut, np.ndarray]) -> Nest:
    return nested.nest(*work)
