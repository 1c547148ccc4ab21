"""Sections to purchases: whole rolls, or lengths off a roll billed to a step."""

from __future__ import annotations

from geoturf.cuts import stock_lengths
from geoturf.cuts.job import Bought, Job, Section, used
from geoturf.cuts.stock_lengths import Pattern, Stock


def pack(job: Job, sections: list[Section], hard: bool = False, enough: float = 0.0) -> list[Bought]:
    """Sections on as few and as cheap purchases as found: quickly, or with ``hard`` by column generation, until the
    price is down to ``enough``."""
    lengths = [length for length, _ in sections]
    groups = _billed(job, lengths) if job.market.by_length else _whole(job, lengths, hard, enough)
    waiting: dict[int, list[Section]] = {}
    for section in sorted(sections):
        waiting.setdefault(section[0], []).append(section)
    return [tuple(waiting[length].pop() for length in sorted(group, reverse=True)) for group in groups]


def price(job: Job, bought: list[Bought]) -> float:
    """What the purchases cost, in money."""
    return sum(job.purchase(used(sections))[1] for sections in bought)


def _whole(job: Job, lengths: list[int], hard: bool, enough: float) -> list[Pattern]:
    stock = Stock(job.rolls, job.market.prices)
    tries = [how(roll, lengths) for roll in job.rolls if roll >= max(lengths) for how in _QUICK]
    best = min(tries, key=stock.total)
    if hard and stock.total(best) > enough + 1e-6:
        best.sort(key=sum)  # emptiest first
        again = len(best) if len(set(lengths)) <= _LENGTHS else _EMPTIEST
        kept = best[again:]
        part, _ = stock_lengths.cut(
            stock, [h for p in best[:again] for h in p], best[:again], enough - stock.total(kept)
        )
        best = part + kept
    return best


_LENGTHS = 400  # distinct lengths up to which all rolls are packed again by column generation
_EMPTIEST = 80  # rolls packed again where there are more
_QUICK = (stock_lengths.best_fit, stock_lengths.fill)


def _billed(job: Job, lengths: list[int]) -> list[list[int]]:
    """Lengths in groups of at most a roll, each summing to a whole number of billing steps where that can be found: what
    is billed beyond the cuts is then lost in the last group only."""
    bill = job.market.billing_m / job.step_m
    marks = (k * bill for k in range(1, int(job.longest / bill + 1e-6) + 1))
    whole = frozenset(round(mark) for mark in marks if abs(mark - round(mark)) < 1e-6)
    return stock_lengths.fill(job.longest, lengths, whole)


def fullest(room: int, sections: list[Section], value: list[int]) -> list[Section]:
    """The sections of most value that fit in ``room`` one after the other (0/1 knapsack)."""
    best: dict[int, tuple[int, tuple[int, ...]]] = {0: (0, ())}
    for k, (length, _) in enumerate(sections):
        for taken, (worth, chosen) in list(best.items()):
            total = taken + length
            if total <= room and worth + value[k] > best.get(total, (-1, ()))[0]:
                best[total] = (worth + value[k], (*chosen, k))
    _, chosen = max(best.values(), key=lambda entry: entry[0])
    return [sections[k] for k in chosen]
