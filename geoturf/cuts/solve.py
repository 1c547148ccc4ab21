"""One job solved: left-overs at hand used first, then purchases, and the bound beside them."""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from geoturf.cuts import dual, exact, levels, polish, program, rolls, stock_lengths
from geoturf.cuts.job import Bought, Job, Section, count, relabelled, renamed, undercut, used
from geoturf.cuts.market import Market
from geoturf.cuts.master import UnsolvedError
from geoturf.cuts.sections import quick
from geoturf.cuts.whole import set_aside
from geoturf.errors import PromiseError
from geoturf.model import Finding
from geoturf.units import MILLIONTH, round_down, round_up


@dataclass(frozen=True)
class Cut:
    """``from_stock``: (row of ``Job.left_overs``, sections); ``bought``: sections of each purchase;
    ``bound_m``: metres of roll that no plan for these pieces buys less than."""

    from_stock: tuple[tuple[int, Bought], ...]
    bought: tuple[Bought, ...]
    bound_m: float

    @property
    def rolls(self) -> list[Bought]:
        """All that is cut: left-overs, then purchases."""
        return [*(sections for _, sections in self.from_stock), *self.bought]

    def bought_m(self, job: Job) -> float:
        return sum(job.purchase(used(sections))[0] for sections in self.bought)


def solve(job: Job) -> Cut:
    """A plan for the job and what no plan can beat. Raises `PromiseError` if the two contradict
    each other."""
    from_stock, left = _use_stock(job)
    rest, rows = job.only(left)
    bought, bound_m = _bought(rest)
    if job.left_overs:  # the bound of the rest knows nothing of other ways to use the stock
        bound_m = dual.least_m(job)
    cut = Cut(tuple(from_stock), tuple(renamed(bought, rows)), bound_m)
    _assert_whole(job, cut)
    return cut


def _bought(job: Job) -> tuple[list[Bought], float]:
    """`_buy` for what is left beside pieces that take whole rolls."""
    alone, left = set_aside(job)
    rest, rows = job.only(left)
    bought, bound_m = _buy(rest) if len(rest.demand) else ([], 0.0)
    taken = len(alone) * job.purchase(job.longest)[0]
    return alone + renamed(bought, rows), bound_m + taken


def _buy(job: Job) -> tuple[list[Bought], float]:
    """Purchases for a job without stock, and metres of roll that no plan buys less than."""
    sections = quick(job)
    plan = rolls.pack(job, sections)
    bound_m = dual.least_m(job)
    if not (job.turns or job.thorough):
        return plan, bound_m
    few = job.demand.sum() <= exact.MOST
    met = _met(job, plan, bound_m)
    if few and not (met and job.market.by_length):
        return _best(job, plan, bound_m)
    if met:
        return plan, bound_m
    quickly = job.effort == "quick" and job.demand.sum() <= _SMALL
    return (_nearly if quickly else _near)(job, sections, plan, bound_m)


def _best(job: Job, plan: list[Bought], bound_m: float) -> tuple[list[Bought], float]:
    """The best plan there is for a few pieces, its left-over on one roll where it can be. It is the
    bound where every metre costs the same."""
    market = job.market
    cost = job.leaning(_LEAN)
    room = round_down(rolls.price(job, plan) / market.cheapest, job.step_m)
    plan = exact.cheaper(job, cost, sum(cost(used(b)) for b in plan), room) or plan
    return plan, _metres(job, plan) if market.one_rate else bound_m


def _near(
    job: Job, sections: list[Section], plan: list[Bought], bound_m: float
) -> tuple[list[Bought], float]:
    """Ever better sections, packed each time, until the bound is met or everything is tried."""
    best = _Best(job, plan, bound_m)
    with suppress(UnsolvedError):
        _improve(best, sections)
        if not best.met and not job.market.by_length and len(best.plan) <= _CHOSEN:
            best.plan = rolls.fewest(job, best.plan)
    return best.plan, best.bound_m


def _nearly(
    job: Job, sections: list[Section], plan: list[Bought], bound_m: float
) -> tuple[list[Bought], float]:
    """A few groups of sections cut again, then a few of rolls: what most gain by."""
    shorter = rolls.pack(job, polish.shorten(job, sections, _TRIES // 10))
    plan = min(plan, shorter, key=lambda bought: rolls.price(job, bought))
    return polish.fewer(job, plan, _TRIES // 5, bound_m * job.market.cheapest), bound_m


class _Best:
    """The cheapest plan of a job so far and metres of roll that no plan buys less than."""

    def __init__(self, job: Job, plan: list[Bought], bound_m: float):
        self.job = job
        self.plan = plan
        self.bound_m = bound_m

    def offer(self, sections: list[Section]) -> bool:
        """Packs the sections. Gives whether nothing can be cheaper."""
        plan = _packed(self.job, sections, self.bound_m * self.job.market.cheapest)
        self.plan = min(self.plan, plan, key=lambda p: rolls.price(self.job, p))
        return self.met

    def bounded(self, steps: float) -> bool:
        """Takes note that no plan buys fewer steps. Gives whether nothing can be cheaper."""
        self.bound_m = max(self.bound_m, self.job.least_m(steps))
        return self.met

    @property
    def met(self) -> bool:
        return _met(self.job, self.plan, self.bound_m)

    @property
    def near(self) -> bool:
        """Whether no more than a roll can be spared."""
        return _met(self.job, self.plan, self.bound_m + self.job.market.lengths_m[0])


def _improve(best: _Best, sections: list[Section]) -> None:
    """Works on a plan of these sections until nothing can be cheaper or everything is tried."""
    job = best.job
    if job.demand[exact.narrow(job)].sum() <= exact.MOST:
        sections = exact.shorter(job, _total(sections)) or sections
        best.bounded(_total(sections))
        if not best.offer(sections):
            _priced(best, sections)
    elif len(job.demand) > (_MANY if _near_anyway(job) else _VERY_MANY):
        best.offer(sections)
    elif _near_anyway(job) and not _soon_solved(job):
        _by_parts(best, sections, job.turns, _REPEATED_PARTS if _repeats(job) else _SMALL_PARTS)
    elif len(job.demand) > _MANY and not job.thorough:
        _by_parts(best, sections, _TURNS, _PARTS)
    else:
        _by_programme(best, sections)


def _by_parts(best: _Best, sections: list[Section], turns: int, how: polish.Part) -> None:
    """One part of the pieces after the other, until all might fit in what the bound allows and
    do."""
    for better in polish.renewed(best.job, sections, turns, how):
        sections = better
        if _total(sections) * best.job.step_m <= best.bound_m and best.offer(sections):
            return
    best.offer(sections)


def _by_programme(best: _Best, sections: list[Section]) -> None:
    """The shortest sections first, then those that go well together on rolls."""
    job = best.job
    cost = program.plain(best.job)
    known = sections
    relaxed = program.relax(job, sections, cost)
    at_once = job.demand.sum() > _EASILY and not (job.market.by_length or job.thorough)
    if at_once:  # the shortest are seldom the best, and take as long to find
        _priced(best, [*relaxed.sections, *sections], prove=False)
        if best.met:
            return
    least = relaxed.least()
    if best.bounded(round_up(least)) or (at_once and best.near):
        return
    if job.demand.sum() <= _SMALL:
        sections = polish.shorten(job, sections, _TRIES)
        if best.offer(sections):
            return
    for take in _TAKES if job.demand.sum() <= _MIDDLE else _TAKES[:1]:
        if _total(sections) <= least + MILLIONTH:
            break
        found = polish.shorten(job, program.dive(job, relaxed, cost, take), _TRIES)
        if _total(found) < _total(sections):
            sections = found
            if best.offer(sections) or (len(job.demand) > _MANY and best.near):
                return
    if not (sections is known and best.offer(sections)) and not at_once and not _near_anyway(job):
        _priced(best, [*relaxed.sections, *sections])


def _priced(best: _Best, columns: list[Section], prove: bool = True) -> None:
    """Sections that go well together on rolls, by what sections of a length ought to cost; to
    ``prove``, first whether there is anything better."""
    job = best.job
    both = levels.Levels(job, rolls.by_length(job), columns, map(_lengths, best.plan))
    cost = both.solve(_PROVING if job.market.by_length else _ROUNDS)
    relaxed = program.relax(job, both.sections, cost)
    if prove and best.bounded(relaxed.least()):
        return
    sections = program.dive(job, relaxed, cost, _TAKES[0])
    best.offer(polish.shorten(job, sections, _TRIES // 2) if job.market.by_length else sections)


_LEAN = 1e-6  # of its price, at most, that a purchase counts for less where its left-over is long
_TRIES = 100  # groups of sections cut again
_TAKES = (0.8, 0.6)  # sections used more than this are taken whole when diving
_SMALL = 100  # pieces up to which the quick plan is worth cutting again in groups
_MIDDLE = 250  # pieces up to which a second dive is worth its time
_EASILY = (
    3000  # pieces up to which the shortest sections are looked for before those of both levels
)
_ROUNDS = 6  # of the programme of both levels, which do for the plan
_PROVING = 20  # and by length, where they raise the bound as well
_WORST = 40  # purchases cut again in groups
_LARGE = 300  # pieces from which those cut from lengths are many
_MANY = 1200  # sizes beyond which one linear programme of all takes too long
_TURNS, _PARTS = (
    4,
    polish.Part(600, 40, 0.8, 100),
)  # then so many such parts are worked on by themselves
_SMALL_PARTS = polish.Part(
    150, 25, 0.6, 50
)  # where many pieces are cut from lengths: the most turf a second
_REPEATED_PARTS = polish.Part(400, 12, 0.6, 50)  # and where they repeat
_REPEATED, _SIZES = (
    1.5,
    500,
)  # pieces a size from which, and sizes up to which, one programme of all is soon solved
_CHOSEN = 120  # rolls up to which the last one is looked for by an integer programme
_VERY_MANY = 4000  # sizes beyond which that gains too little


def _packed(job: Job, sections: list[Section], enough: float) -> list[Bought]:
    """Purchases for the sections, those that lose most cut again."""
    plan = rolls.pack(job, sections, not _near_anyway(job), enough)
    if _near_anyway(job) or rolls.price(job, plan) <= enough * (1 + 1e-9):
        return plan
    plan.sort(key=lambda b: (used(b) / job.purchase(used(b))[1], b))
    rest = plan[_WORST:]
    return polish.fewer(job, plan[:_WORST], _TRIES, enough - rolls.price(job, rest)) + rest


def _near_anyway(job: Job) -> bool:
    """Many pieces cut from lengths: they fill each other's gaps so well that a minute's work wins
    0.2 % or so."""
    return bool(job.market.by_length and job.demand.sum() > _LARGE and not job.thorough)


def _soon_solved(job: Job) -> bool:
    """Whether one programme of all pieces takes about a second."""
    return len(job.demand) <= _SIZES and _repeats(job)


def _repeats(job: Job) -> bool:
    return bool(job.demand.sum() >= _REPEATED * len(job.demand))


def _lengths(bought: Bought) -> stock_lengths.Pattern:
    return tuple(sorted((length for length, _ in bought), reverse=True))


def _total(sections: list[Section]) -> int:
    return sum(length for length, _ in sections)


def _metres(job: Job, plan: list[Bought]) -> float:
    return sum(job.purchase(used(sections))[0] for sections in plan)


def _met(job: Job, plan: list[Bought], bound_m: float) -> bool:
    """Whether nothing can be cheaper: the bound at the cheapest rate."""
    return rolls.price(job, plan) <= bound_m * job.market.cheapest * (1 + 1e-9)


def _use_stock(job: Job) -> tuple[list[tuple[int, Bought]], np.ndarray]:
    """Left-overs filled one after the other, each with the sections that use most of it, and the
    demand (k,) left."""
    left = job.demand.copy()
    filled = []
    for at, (length, width) in enumerate(job.left_overs):
        fits = (job.size[:, 0] <= length) & (job.size[:, 1] <= width)
        if not (left * fits).any():
            continue
        small, rows = replace(job, width=width).only(left * fits)
        found = relabelled(quick(small), rows)
        chosen = tuple(
            rolls.fullest(length, list(found), [_area(job, section) for section in found])
        )
        filled.append((at, chosen))
        left = left - count(chosen, len(left))
    return filled, left


def _area(job: Job, section: Section) -> int:
    return sum(int(job.size[k].prod()) for _, lane in section[1] for k in lane)


def _assert_whole(job: Job, cut: Cut) -> None:
    """Every piece once, every purchase possible, and no less bought than the bound says."""
    everything = [s for _, piece in cut.from_stock for s in piece] + [
        s for piece in cut.bought for s in piece
    ]
    faults = []
    if not np.array_equal(count(everything, len(job.demand)), job.demand):
        faults.append("a piece is cut twice or not at all")
    if any(not 0 < used(piece) <= job.longest for piece in cut.bought):
        faults.append("a purchase is longer than its roll")
    if any(used(piece) > job.left_overs[at][0] for at, piece in cut.from_stock):
        faults.append("a left-over is cut longer than it is")
    if any(sum(width for width, _ in lanes) > job.width for _, lanes in everything):
        faults.append("lanes are wider than the roll")
    if undercut(cut.bought_m(job), cut.bound_m):
        faults.append(f"{cut.bought_m(job):.3f} m are bought under a bound of {cut.bound_m:.3f} m")
    if faults:
        raise PromiseError(Finding("error", "cut-plan", "; ".join(faults)))


_NOTHING = Job(
    0.01,
    10,
    (100,),
    Market(1.0, (1.0,), (1.0,), 0.0),
    np.array([[30, 10], [20, 6], [10, 4]]),
    np.array([1, 2, 2]),
)  # to compile on


def warm_few() -> None:
    """Compile what cuts a few pieces, or load what an earlier run compiled (some seconds, once a
    machine)."""
    exact.shorter(_NOTHING, _total(quick(_NOTHING)) + 1)


def warm_many() -> None:
    """The same for what cuts many."""
    cost = program.plain(_NOTHING)
    program.dive(_NOTHING, program.relax(_NOTHING, quick(_NOTHING), cost), cost, _TAKES[0])
    stock_lengths.programme(stock_lengths.Stock((100,), (1.0,)), Counter([30, 20, 20, 10]), set())
