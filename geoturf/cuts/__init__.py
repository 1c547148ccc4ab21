"""The cut plan: which layout each area gets and which roll each piece is cut from, beside what no
plan can beat.

`plan` gathers areas into pools, chooses a layout for each area, cuts each pool's pieces from rolls
and writes it down; `proven` adds the bound.

    market.py    what can be bought, for how much
    planned.py   a pool's plan: made square, divided, nested, from stock
    pools.py     areas to pools, a pool's pieces to jobs in whole grid steps (job.py)
    sections.py  pieces to sections; rolls.py  sections to purchases; solve.py  a whole job
    dual.py      bounds for any cutting
    swap.py      layouts chosen for a pool; settle.py  for a small one, by what it really buys
    divide.py    strips divided where that fills whole rolls
    program.py   sections by linear programme; levels.py  with purchases in it; pricing.py  the
                 knapsacks of both
    order.py     which equal piece fills which slot, and which roll is cut next
    walk.py      the order in which lots are worked; work.py  what lies open meanwhile
    onsite.py    few rolls open at a time; carried.py  the search for that, compiled
    slanted.py   chalk lines and chains of pieces; nested.py  a square plan made over with them
    dye_lots.py  areas parted where a phase needs more than a dye lot, before they are laid
    small.py     what is laid smaller than the rules ask; crossed.py  what cross seams save
    by_hand.py   what a careful estimator would order by hand, each area alone
    estimated.py what is bought for areas that are not laid
    nouns.py     solved jobs to tables; proof.py  beside them what no layout can beat
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from geoturf.cuts import (
    by_hand,
    crossed,
    nested,
    nouns,
    onsite,
    planned,
    pools,
    proof,
    small,
    swap,
    walk,
    work,
)
from geoturf.cuts.divide import CutAcross
from geoturf.cuts.dye_lots import of_rolls, parted, within_limits
from geoturf.cuts.estimated import of_all, with_estimate
from geoturf.cuts.job import Bought
from geoturf.cuts.market import markets, width_key
from geoturf.cuts.order import sequence
from geoturf.cuts.planned import HEAVY, Known, PoolPlan, Setting
from geoturf.cuts.pools import Pool
from geoturf.cuts.proof import proven
from geoturf.engine import Engine, Serial
from geoturf.model import Choices, CutPlan, Ground
from geoturf.rules import CutRules, LayoutRules, Product
from geoturf.units import round_up

order_of_work = walk.in_order

__all__ = [
    "Known",
    "of_all",
    "of_rolls",
    "order_of_work",
    "parted",
    "plan",
    "proven",
    "with_estimate",
    "within_limits",
]

POOLS = [
    *("pool", "phase", "product", "pieces", "rolls", "bought_m2", "needed_m2"),
    *("cut_bound_m2", "by_hand_m2", "status", "square_m2", "stock_m2"),
]


def plan(
    ground: Ground,
    choices: tuple[Choices, ...],
    products: dict[str, Product],
    rules: CutRules,
    tick: Callable[[int], Any] | None = None,
    layout_rules: LayoutRules | None = None,
    engine: Engine | None = None,
    known: Known | None = None,
    cut_across: CutAcross | None = None,
) -> CutPlan:
    """Rolls for all areas. ``layout_rules`` give what seams cost against turf and whether ends may
    slant; ``tick(n)`` is told when n pools are done; ``engine`` solves pools side by side.
    ``known``: what was cut before; it is not cut again, and what is cut now is added.
    ``cut_across`` makes a layout of one with its strips divided; without it none are.

    Raises `PromiseError` if a plan would break a promise of its own, such as buying less than its
    pieces need.
    """
    engine = engine or Serial()
    gathered = pools.gather(ground, choices, rules)
    market = {name: markets(product, rules) for name, product in products.items()}
    pools.assert_cuttable(ground, choices, market)
    setting = Setting(
        *(ground, choices, market, rules, layout_rules or LayoutRules()),
        *({} if known is None else known, cut_across),
    )
    plans = _plans(setting, gathered, engine)
    order = walk.in_order(ground)
    trade = None
    if rules.on_site:
        plans, trade = onsite.plans(setting, plans, order, engine)
    book = _written(setting, plans, engine, tick)
    chosen = {area: layout for one in plans for area, layout in one.layouts.items()}
    rows = [_row(setting, one) for one in plans]
    pieces = nouns.pieces_table(ground, chosen, book)
    return CutPlan(
        pieces=pieces,
        rolls=book.rolls_table(),
        pools=pd.DataFrame(rows, columns=POOLS),
        stock=book.stock_table(),
        chosen=nouns.chosen_table(chosen, choices, _bought_m2(plans, len(choices)), pieces),
        seams=nouns.seams_table(chosen),
        lots=work.lots_table(ground, order, pieces),
        trade=trade,
        findings=(
            *small.told(ground, chosen, setting.layout_rules, products),
            *crossed.told(setting, plans, products),
            *work.notes(ground, pieces, products, rules, trade),
        ),
    )


def _plans(setting: Setting, gathered: list[Pool], engine: Engine) -> list[PoolPlan]:
    """A plan of each pool."""
    rules = setting.layout_rules
    chosen = swap.choose(gathered, setting.choices, setting.market, rules, engine)
    if setting.rules.stock:  # each pool waits for what those before it leave
        return planned.from_stock(setting, gathered, chosen)
    plans = planned.divided(setting, planned.square(setting, gathered, chosen, engine), engine)
    if not setting.slanted:
        return plans
    spared = partial(nested.spared_m2, setting.ground, rules=rules)
    nestable = swap.choose(gathered, setting.choices, setting.market, rules, engine, spared)
    others = planned.divided(setting, planned.square(setting, gathered, nestable, engine), engine)
    both = (planned.nested_plans(setting, some, engine) for some in (plans, others))
    return [planned.cheaper(one, other, rules) for one, other in zip(*both, strict=True)]


def _written(
    setting: Setting, plans: Sequence[PoolPlan], engine: Engine, tick: Callable[[int], Any] | None
) -> nouns.Book:
    """Every roll written down, pool by pool, in the order in which it is cut."""
    counts = np.zeros(len(setting.choices), int)
    for one in plans:
        for area, layout in one.layouts.items():
            counts[area] = len(layout.pieces)
    first = np.concatenate([[0], np.cumsum(counts)]).astype(
        int
    )  # number of each area's first piece
    lot = pd.factorize(setting.ground.areas["site"].astype(str))[0]
    book = nouns.Book(int(first[-1]), setting.rules)
    works = []
    for one in plans:
        for job in one.jobs:
            areas = list(job.areas)
            lots = np.repeat(lot[areas], counts[areas]).tolist()
            works.append((job.cut.rolls, job.kind.tolist(), lots, job.slots))
    orders = iter((engine if book.pieces > HEAVY else Serial()).map(_order, works))
    for one in plans:
        for job in one.jobs:
            numbers = np.concatenate(
                [np.arange(first[area], first[area + 1]) for area in job.areas]
            )
            book.enter(one.pool, job, numbers.tolist(), next(orders))
        if tick:
            tick(1)
    return book


def _order(
    job: tuple[list[Bought], list[int], list[int], tuple[tuple[int, ...], ...]],
) -> list[tuple[int, list[int]]]:
    rolls, kinds, lots, slots = job
    if slots:
        return [(row, list(pieces)) for row, pieces in enumerate(slots)]
    return sequence(rolls, kinds, lots)


def _bought_m2(plans: Sequence[PoolPlan], areas: int) -> np.ndarray:
    """What is bought for each area (m2): its pool's turf, shared by the area of its pieces."""
    shared = np.zeros(areas)
    for one in plans:
        mine = list(one.pool.areas)
        weights = np.array([nouns.cut_m2(one.layouts[area]) for area in mine])
        shared[mine] = nouns.shares(sum(job.bought_m2 for job in one.jobs), weights)
    return shared


def _row(setting: Setting, one: PoolPlan) -> tuple[object, ...]:
    """A pool's line of the table, by `POOLS`. Raises `PromiseError` where less is bought than its
    bound."""
    pool = one.pool
    bought = sum(job.bought_m2 for job in one.jobs)
    bound = proof.kept(pool.key, bought, sum(job.bound_m2 for job in one.jobs))
    needed = setting.ground.areas["surface_area_m2"].to_numpy(float)[list(pool.areas)].sum()
    return (
        pool.key,
        pool.phase,
        pool.product,
        one.pieces,
        sum(len(job.cut.bought) for job in one.jobs),
        bought,
        float(needed),
        bound,
        sum(_by_hand_m2(setting, pool, area) for area in pool.areas),
        _status(setting, pool, bought, bound),
        one.square_m2,
        one.stock_m2,
    )


def _by_hand_m2(setting: Setting, pool: Pool, area: int) -> float:
    layouts = setting.choices[area].by_hand
    market = setting.market[pool.product][width_key(layouts[0].roll_width_m)]
    return by_hand.bought_m2(layouts, market, setting.layout_rules.min_piece_width_m)


def _status(setting: Setting, pool: Pool, bought: float, bound: float) -> str:
    """``proven``, or how far the plan may be from the best, in words."""
    gap = bought - bound
    offers = setting.market[pool.product].values()
    if gap <= 1e-6 * max(1.0, bound):
        return "proven"
    if not any(offer.by_length for offer in offers):
        shortest = min(length for offer in offers for length in offer.lengths_m)
        rolls = round_up(gap, shortest * min(offer.roll_width_m for offer in offers))
        return f"{rolls} roll{'s' if rolls > 1 else ''} above the bound"
    if bound > 0:
        return f"{100 * gap / bound:.2g} % above the bound"
    return "not bounded"
