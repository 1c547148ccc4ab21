"""A plan made better part by part: some sections, or some rolls, are taken out and cut again in the
best way there is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from geoturf.cuts import exact, program
from geoturf.cuts.job import Bought, Job, Section, count, relabelled, used

_SECTIONS = 11  # pieces cut again at once, when sections are
_ROLLS = 12  # when rolls are
_LEAN = 1e-3  # of its price, at most, that a purchase counts for less where its left-over is long


def shorten(job: Job, sections: list[Section], tries: int) -> list[Section]:
    """Sections of no more total length, by ``tries`` groups cut again."""
    chance = np.random.default_rng(0)
    lost = _Lost(job)
    done = [s for s in sections if not lost(s)]
    rest = [s for s in sections if lost(s)]
    weight, sizes = lost.columns(rest)
    seen: set[tuple[Section, ...]] = set()
    for turn in range(tries):
        group = _group(sizes, weight if turn % 2 else np.ones(len(rest)), chance, _SECTIONS)
        key = tuple(sorted(rest[k] for k in group))
        if len(group) < 2 or key in seen:
            continue
        seen.add(key)
        part, rows = job.only(count(key, len(job.demand)))
        found = exact.shorter(part, sum(s[0] for s in key))
        if found is not None:
            better = relabelled(found, rows)
            done += [s for s in better if not lost(s)]
            rest = [s for k, s in enumerate(rest) if k not in group] + [
                s for s in better if lost(s)
            ]
            weight, sizes = lost.columns(rest)
    return done + rest


@dataclass(frozen=True)
class Part:
    """How a part of a plan is cut again: so many ``pieces`` by so many ``rounds`` of their
    programme, which need prove nothing; a dive that takes sections used more than ``take``; and
    ``tries`` groups of those cut again."""

    pieces: int
    rounds: int
    take: float
    tries: int


def renewed(job: Job, sections: list[Section], times: int, how: Part) -> Iterator[list[Section]]:
    """Sections of ever less total length, by as many ``times`` a part of those that lose most cut
    again by linear programme: where one programme of all would take too long."""
    chance = np.random.default_rng(0)
    lost = _Lost(job)
    kinds = len(job.demand)
    for _ in range(times):
        weight, sizes = lost.columns(sections)
        group = _group(sizes, weight, chance, how.pieces)
        old = [sections[k] for k in sorted(group) if weight[k] > 0]
        if not old:
            break
        part, rows = job.only(count(old, kinds))
        place = np.zeros(kinds, np.int64)
        place[rows] = np.arange(len(rows))
        cost = program.plain(part)
        relaxed = program.relax(part, relabelled(old, place), cost, how.rounds)
        new = shorten(part, program.dive(part, relaxed, cost, how.take), how.tries)
        if _total(new) < _total(old):
            kept = [s for k, s in enumerate(sections) if k not in group or not weight[k] > 0]
            sections = kept + list(relabelled(new, rows))
            yield sections


def _total(sections: Sequence[Section]) -> int:
    return sum(length for length, _ in sections)


class _Lost:
    """Area lost in a section that could be won back: none where no piece leaves room for another
    beside it."""

    def __init__(self, job: Job):
        self.width, self.area, self.narrow = (
            job.width,
            job.size.prod(axis=1).tolist(),
            exact.narrow(job).tolist(),
        )
        self.known: dict[Section, int] = {}

    def __call__(self, section: Section) -> int:
        if section not in self.known:
            sizes = [k for _, lane in section[1] for k in lane]
            lost = self.width * section[0] - sum(self.area[k] for k in sizes)
            self.known[section] = lost if any(self.narrow[k] for k in sizes) else 0
        return self.known[section]

    def columns(self, sections: list[Section]) -> tuple[np.ndarray, list[int]]:
        """Weight to draw each by, and pieces in each."""
        return np.sqrt([self(s) for s in sections]), [_pieces((s,)) for s in sections]


def fewer(job: Job, bought: list[Bought], tries: int, enough: float) -> list[Bought]:
    """Purchases of no higher price, by ``tries`` groups cut again; stops when the price is down to
    ``enough``.

    Among groups of equal price the one with the longest left-over is taken: what is left gathers on
    one roll until that roll is not needed."""

    cost = job.leaning(_LEAN)
    chance = np.random.default_rng(0)
    rate = min(job.purchase(length)[1] / length for length in job.rolls)
    seen: set[tuple[Bought, ...]] = set()
    for _ in range(tries):
        if len(bought) < 2 or sum(job.purchase(used(b))[1] for b in bought) <= enough + 1e-9:
            break
        free = np.array([1.0 - used(b) / job.longest for b in bought])
        group = _group([_pieces(b) for b in bought], 0.05 + free, chance, _ROLLS)
        key = tuple(sorted(bought[k] for k in group))
        if len(group) < 2 or key in seen:
            continue
        seen.add(key)
        part, rows = job.only(count([s for b in key for s in b], len(job.demand)))
        room = int(sum(job.purchase(used(b))[1] for b in key) / rate + 1e-6)
        better = exact.cheaper(part, cost, sum(cost(used(b)) for b in key), room)
        if better is not None:
            bought = [b for k, b in enumerate(bought) if k not in group] + [
                relabelled(b, rows) for b in better
            ]
    return bought


def _pieces(bought: Bought) -> int:
    return sum(len(lane) for _, lanes in bought for _, lane in lanes)


def _group(
    sizes: list[int], weight: np.ndarray, chance: np.random.Generator, most: int
) -> set[int]:
    """Some rows drawn by weight whose sizes add up to ``most`` at most."""
    group = set()
    total = 0
    for k in np.argsort(-weight * chance.random(len(sizes)), kind="stable").tolist():
        if total + sizes[k] <= most:
            group.add(k)
            total += sizes[k]
        if total >= most - 1:
            break
    return group
