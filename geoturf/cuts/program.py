"""Sections by linear programme: column generation, its bound, and a plan by diving.

    least sum_s c(h_s) x_s   with   sum_s a_is x_s >= d_i   over all sections s (length h_s, a_is pieces of size i)

`pricing` gives the best section of each length at the duals; what no section beats bounds the
programme from below (Farley 1990). Where sizes are many the duals of one optimum say little: most
are 0 and some far too large. So sections are priced at duals drawn towards values that were found
to bound the programme well (smoothing, Wentges 1997, citation from memory), at first those of a
dual feasible function (`dual`). To dive, sections the programme uses almost wholly are taken, and
the rest is solved again. The cost c of a length is the length itself, or what it ought to cost
(`levels`); it is superadditive, so a lane that leaves room for no other beside it is never better
than its pieces in sections of their own, and no section is made of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from geoturf import knapsack
from geoturf.cuts import dual, pricing
from geoturf.cuts.exact import narrow
from geoturf.cuts.job import Job, Section
from geoturf.cuts.master import Master
from geoturf.cuts.sections import tidy

_GAIN = 1e-6  # of a section's cost: a column that gains less is not worth adding
_NOISE = 1e-9  # of a bound: what float arithmetic may have added
_CLOSE = 1e-5  # programme and bound this close are taken for equal
COLUMNS = 128  # added in a round at most
STRIDE = 12  # one in so many lengths is looked at in most rounds
APART_M = 0.12  # or one so often, where cut steps are finer than a centimetre
_LOOSE = (
    80  # over the number of sizes: the part of the way to steady values that duals are not drawn
)
_LEAST, _LET_GO = (
    0.8,
    0.1,
)  # the part they are at least, and the one under which they are not at all any more
_ROOM = 4  # columns a row, beyond which dear ones go
_DEAR = 0.05  # of a section's cost: what its pieces may be worth less, before it is dear
_ENOUGH = 0.01  # of a roll: so little is not sought for
ROUNDS = 100  # of column generation
_AGAIN = 5  # rounds each time the programme is solved again in a dive


class Lanes:
    """What lanes of a job are made of, narrowest first: ``kind`` of each leader, as many of a size
    as lie side by side, and things that follow: ``batch`` pieces of size ``of``, in batches that
    sum up to any number there is. What is in the first ``row[c]`` batches may follow leader c:
    narrower sizes, and all of its own but itself."""

    def __init__(self, job: Job):
        self.job = job
        kind = []
        row = []
        of = []
        batch = []
        beside = narrow(job)
        for size in np.lexsort((job.size[:, 0], job.size[:, 1])).tolist():
            if not beside[size] or not job.demand[size]:
                continue
            long, wide = job.size[size].tolist()
            end_to_end = min(int(job.demand[size]), job.longest // long)
            batches = [*_batches(end_to_end - 1), 1]
            of += [size] * len(batches)
            batch += batches
            side_by_side = min(int(job.demand[size]), job.width // wide)
            kind += [size] * side_by_side
            row += [len(of) - 1] * side_by_side
        self.kind, self.row, self.of, self.batch = (
            np.array(column, np.int64) for column in (kind, row, of, batch)
        )
        self.length, self.width = (
            np.ascontiguousarray(job.size[self.kind, side]) for side in (0, 1)
        )
        self.batch_length = job.size[self.of, 0] * self.batch
        fresh = np.diff(self.of, prepend=-1) != 0  # batches of a size lie together
        self.sizes, self.distinct = (
            self.of[fresh],
            np.append(0, np.cumsum(fresh)),
        )  # sizes in the first so many batches

    def price(self, value: np.ndarray, heights: np.ndarray, cost: np.ndarray) -> Priced:
        """The best sections of these lengths where a piece of size i is worth ``value[i]`` and h
        steps cost ``cost[h]``."""
        job, heights = (
            self.job,
            np.ascontiguousarray(heights),
        )  # strided ones would be compiled for anew
        follow = knapsack.once(self.batch_length, value[self.of] * self.batch, job.longest)
        worth = value[self.kind]
        led = pricing.lead(self.length, self.width, worth, follow, self.row, job.width, heights)
        return Priced(self, value, worth, follow, heights, cost, led / cost[heights][:, None])


def stride(job: Job) -> int:
    """One in how many lengths is looked at in a round."""
    return max(STRIDE, round(APART_M / job.step_m))


def _batches(count: int) -> list[int]:
    """Whole numbers, parts of which sum up to anything from 0 to ``count``: 1, 2, 4 … and a
    rest."""
    out = []
    unit = 1
    while count > 0:
        out.append(min(unit, count))
        count -= out[-1]
        unit *= 2
    return out


@dataclass(frozen=True)
class Priced:
    """Sections of ``heights`` at the ``value`` of each size, ``worth`` of each leader, and ``cost``
    by length; ``ratio``: float (heights, leaders), value of the best section of each length that
    each leader can lead, over its cost."""

    lanes: Lanes
    value: np.ndarray
    worth: np.ndarray
    follow: np.ndarray
    heights: np.ndarray
    cost: np.ndarray
    ratio: np.ndarray

    def best(self, most: int, whole: bool) -> Iterator[list[tuple[int, ...]]]:
        """The best section of each leader, lane by lane, as far as it gains, of the ``most``
        leaders that gain most; best first. ``whole``: with no piece more often than it is there.
        One a leader, not the best of all: where all pieces differ, the programme needs a section
        for each, and the best ones are much the same."""
        its = self.lanes
        job = self.lanes.job
        height = np.argmax(self.ratio, axis=0)
        ratio = self.ratio[height, np.arange(len(height))]
        leader = np.argsort(-ratio, kind="stable")[:most]
        leader = leader[ratio[leader] > 1 + _GAIN]
        leader = leader[np.argsort(height[leader], kind="stable")]
        sizes, lane, ends, tall, total = pricing.compose(
            np.column_stack([height[leader], leader]),
            self.heights,
            (its.length, its.width, self.worth, its.row),
            self.follow,
            (job.width, job.demand, self.value),
            (its.of, its.batch, its.batch_length),
            (its.sizes, its.distinct, np.ascontiguousarray(job.size[:, 0])),
            whole,
        )
        gain = total / self.cost[tall]
        starts = np.append(0, ends[:-1])
        for k in np.argsort(-gain, kind="stable").tolist():
            if gain[k] > 1 + _GAIN:
                yield _by_lane(sizes[starts[k] : ends[k]], lane[starts[k] : ends[k]])


def _by_lane(sizes: np.ndarray, lane: np.ndarray) -> list[tuple[int, ...]]:
    """Sizes parted where the lane changes."""
    cuts = (np.flatnonzero(np.diff(lane)) + 1).tolist()
    flat = sizes.tolist()
    return [tuple(flat[a:b]) for a, b in zip([0, *cuts], [*cuts, len(flat)], strict=True)]


class SectionProgramme:
    """The master programme of a job, at a ``cost`` by length. ``sections``: those it may use,
    ``counts`` (n, k) what is in them; ``bound``: what no plan costs less than."""

    def __init__(self, job: Job, cost: np.ndarray, sections: Sequence[Section], counts: np.ndarray):
        self.job, self.cost, self.lanes, self.master = job, cost, Lanes(job), Master(job.demand)
        self.sections = list(sections)
        self.counts = counts
        self.known = set(sections)
        self.bound, self.room = 0.0, _ROOM * len(job.demand)
        # what sizes may be worth, bounding the programme best so far, and how far duals are drawn
        # towards that
        self.steady, self.drawn = dual.values(job, cost), max(_LEAST, 1 - _LOOSE / len(job.demand))
        self.master.add([cost[length] for length, _ in sections], counts)

    def add(self, sections: Iterable[Section], whole: bool) -> int:
        """Adds what is not yet there and says how many that was. Only ``whole`` ones are worth
        keeping."""
        fresh = [s for s in dict.fromkeys(sections) if s not in self.known]
        if fresh:
            counts = contents(fresh, len(self.job.demand))
            self.master.add([self.cost[length] for length, _ in fresh], counts)
            self.known.update(fresh)
            if whole:
                self.sections += fresh
                self.counts = np.concatenate([self.counts, counts])
        return len(fresh)

    def serve(self, left: np.ndarray) -> None:
        """From now on for a demand of ``left``, no more than before, by sections that hold no more
        than that."""
        self.job = replace(self.job, demand=left)
        self.bound = 0.0
        self.lanes = Lanes(self.job)
        self._keep(self.master.want(left, np.all(self.counts <= left, axis=1)))

    def _keep(self, kept: np.ndarray) -> None:
        self.sections, self.counts = [self.sections[k] for k in kept.tolist()], self.counts[kept]
        self.known = set(self.sections)

    def generate(self, rounds: int) -> np.ndarray:
        """Adds sections until none that gains is found easily or ``rounds`` are over. Gives the use
        of each."""
        self._grow(rounds, True)
        return self.master.solve()[1]

    def prove(self, rounds: int) -> None:
        """Raises the bound: sections that use a piece once too often are let in as well, so that
        nothing is left for the bound to allow for. Such a programme is of no use for diving."""
        self._grow(rounds, False)

    def _grow(self, rounds: int, whole: bool) -> None:
        """A round looks at one in so many lengths only; to prove, at all of them where those gain
        nothing. Where nothing gains at the values drawn so far, they are drawn less."""
        every = np.arange(int(self.job.size[:, 0].min()), self.job.longest + 1)
        drawn = self.drawn
        apart = stride(self.job)
        for k in range(rounds):
            objective, _, value = self.master.solve()
            if whole and len(self.sections) > self.room:
                self._keep(self.master.trim(self._dear()))
                self.room = max(self.room, 2 * len(self.sections))
            wanted = value + drawn * (self.steady - value)
            first = k % min(apart, len(every))
            added = self._round(every[first::apart], wanted, whole)
            if not added and not whole:
                added = self._round(every, wanted, whole)
            if self.bound >= objective * (1 - _CLOSE) or not (added or drawn):
                break
            if whole and self.steady @ self.job.demand >= objective - _ENOUGH * self.cost[-1]:
                break
            drawn = self.drawn if added else drawn / 2 if drawn > _LET_GO else 0.0

    def _dear(self) -> np.ndarray:
        """Sections that cost far more than their pieces may be worth; none of a piece alone, which
        must always do."""
        worth = self.counts @ self.steady
        dear: np.ndarray = (self.counts.sum(axis=1) > 1) & (worth < (1 - _DEAR) * self.master.cost)
        return dear

    def _round(self, heights: np.ndarray, value: np.ndarray, whole: bool) -> int:
        """Adds sections of these lengths that gain, and says how many. All lengths together bound
        the programme."""
        priced = self.lanes.price(value, heights, self.cost)
        alone = float((value / self.cost[self.job.size[:, 0]]).max())
        value = value / max(1.0, alone, float(priced.ratio.max(initial=0.0)))
        if value @ self.job.demand > self.steady @ self.job.demand:
            self.steady = value
        if len(heights) > self.job.longest - self.job.size[:, 0].min():
            self.bound = max(self.bound, float(value @ self.job.demand))
        return self.add([tidy(self.job, lanes) for lanes in priced.best(COLUMNS, whole)], whole)


def plain(job: Job) -> np.ndarray:
    """Costs by length where every step costs one."""
    return np.maximum(1.0, np.arange(job.longest + 1))


class Relaxed:
    """A job's programme, solved. ``sections``: those worth having, with the ``basis`` of the
    optimum over them."""

    def __init__(self, programme: SectionProgramme):
        self.sections, self.basis = list(programme.sections), programme.master.basis()
        self.steady = programme.steady
        self.drawn = programme.drawn
        self._programme = programme

    def least(self) -> float:
        """What no plan costs less than. Takes about as long as the sections did."""
        self._programme.prove(ROUNDS)
        return self._programme.bound * (1 - _NOISE)


def relax(job: Job, start: Sequence[Section], cost: np.ndarray, rounds: int = ROUNDS) -> Relaxed:
    """The programme of a job, begun from the sections of a plan known and those of each size
    alone."""
    alone = [tidy(job, [(size,)]) for size in range(len(job.demand))]
    sections = list(dict.fromkeys([*alone, *start]))
    programme = SectionProgramme(job, cost, sections, contents(sections, len(alone)))
    programme.generate(rounds)
    return Relaxed(programme)


def dive(job: Job, relaxed: Relaxed, cost: np.ndarray, take: float) -> list[Section]:
    """A plan for the job from the sections of the programme, one for each size alone among them,
    and others found on the way. Sections used more than ``take`` are taken each time; first those
    used many times over, as often whole, so that little is left to round."""
    taken = []
    left = job.demand.copy()
    programme = SectionProgramme(
        job, cost, relaxed.sections, contents(relaxed.sections, len(job.demand))
    )
    programme.steady = relaxed.steady
    programme.drawn = relaxed.drawn
    programme.master.begin(relaxed.basis)
    while left.any():
        use = programme.generate(_AGAIN)
        counts = programme.counts
        times = np.floor(use + 1e-6).astype(int)
        if times.max() < 2:
            times = np.maximum(1, times + (use - times > take))
        for k in _rounded(use, take).tolist():
            for _ in range(times[k]):
                if (counts[k] <= left).all():
                    taken.append(programme.sections[k])
                    left = left - counts[k]
        programme.serve(left)
    return taken


def contents(sections: Sequence[Section], kinds: int) -> np.ndarray:
    """How many pieces of each size are in each section, int (n, kinds)."""
    sizes = [[size for _, lane in lanes for size in lane] for _, lanes in sections]
    row = np.repeat(np.arange(len(sections)), [len(some) for some in sizes])
    flat = row * kinds + np.array([size for some in sizes for size in some], np.int64)
    return np.bincount(flat, minlength=len(sections) * kinds).reshape(-1, kinds)


def _rounded(use: np.ndarray, take: float) -> np.ndarray:
    """Columns to take: those used more than ``take``, and at least the twentieth part of what is
    used, most used first."""
    order = np.argsort(-np.where(use > take, 1.0, use), kind="stable")
    return order[: max(1, int((use > take).sum()), int(use.sum() / 20))]
