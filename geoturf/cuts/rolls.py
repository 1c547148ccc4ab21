"""Sections to purchases: whole rolls, or lengths off a roll billed to a step."""

from __future__ import annotations

from functools import lru_cache

from geoturf.cuts import stock_lengths
from geoturf.cuts.job import Bought, Job, Section, used
from geoturf.cuts.market import Market
from geoturf.cuts.stock_lengths import Pattern, Stock


def pack(
    job: Job, sections: list[Section], hard: bool = False, enough: float = 0.0
) -> list[Bought]:
    """Sections on as few and as cheap purchases as found: quickly, or with ``hard`` by column
    generation, until the price is down to ``enough``."""
    if not sections:
        return []
    lengths = [length for length, _ in sections]
    stock = _stock(job)
    groups = _quickly(job, stock, lengths)
    if hard and stock.total(groups) > enough + 1e-6:
        groups = _again(stock, groups, enough)
    return _filled(sections, groups)


def fewest(job: Job, plan: list[Bought]) -> list[Bought]:
    """The plan's sections on fewer rolls where an integer programme finds them."""
    sections = [section for bought in plan for section in bought]
    groups = [tuple(sorted((length for length, _ in bought), reverse=True)) for bought in plan]
    return _filled(
        sections, stock_lengths.cheapest(_stock(job), [length for length, _ in sections], groups)
    )


def _filled(sections: list[Section], groups: list[Pattern]) -> list[Bought]:
    """Sections in groups of these lengths."""
    waiting: dict[int, list[Section]] = {}
    for section in sorted(sections):
        waiting.setdefault(section[0], []).append(section)
    return [
        tuple(waiting[length].pop() for length in sorted(group, reverse=True)) for group in groups
    ]


def price(job: Job, bought: list[Bought]) -> float:
    """What the purchases cost, in money."""
    return sum(job.purchase(used(sections))[1] for sections in bought)


def _stock(job: Job) -> Stock:
    """What can be bought as stocked lengths: the rolls, or every length that is billed."""
    if not job.market.by_length:
        return Stock(job.rolls, job.market.prices)
    return _billed(job.market, job.step_m, job.longest)


@lru_cache(maxsize=64)  # small pools ask for the same some thousand times
def _billed(market: Market, step_m: float, longest: int) -> Stock:
    bill = market.billing_m / step_m
    lengths = {int(k * bill + 1e-6) for k in range(1, int(longest / bill + 1e-6) + 1)} | {longest}
    longest_first = tuple(sorted(lengths - {0}, reverse=True))
    return Stock(
        longest_first, tuple(market.purchase(length * step_m)[1] for length in longest_first)
    )


def by_length(job: Job) -> Stock:
    """What can be bought as stocked lengths, each at what it measures (steps) and not at its
    price."""
    if job.market.by_length:
        lengths = _stock(job).lengths
        return Stock(lengths, tuple(job.purchase(length)[0] / job.step_m for length in lengths))
    return Stock(job.rolls, tuple(length / job.step_m for length in job.market.lengths_m))


def _quickly(job: Job, stock: Stock, lengths: list[int]) -> list[Pattern]:
    """The cheapest of a few quick ways. By length each purchase is filled to a length that is
    billed whole."""
    if job.market.by_length:
        bill = job.market.billing_m / job.step_m
        whole = frozenset(
            length
            for length in stock.lengths
            if abs(length / bill - round(length / bill)) * bill < 1e-6
        )
        return stock_lengths.fill(job.longest, lengths, whole)
    rolls = [roll for roll in job.rolls if roll >= max(lengths)]
    tries = [
        how(roll, lengths) for roll in rolls for how in (stock_lengths.best_fit, stock_lengths.fill)
    ]
    return min(tries, key=stock.total)


def _again(stock: Stock, groups: list[Pattern], enough: float) -> list[Pattern]:
    """The groups packed again by column generation: those that lose most, more of them, all where
    there are not too many lengths, and those that lose most again; until the cost is down to
    ``enough``."""
    lengths = len({length for group in groups for length in group})
    whole = [len(groups)] if lengths <= _LENGTHS else []
    tried: set[tuple[Pattern, ...]] = set()
    for worst in (*_WORST, *whole, *_WORST):
        groups = sorted(groups, key=lambda group: (sum(group) / stock.cost(sum(group)), group))
        kept = groups[worst:]
        these = tuple(groups[:worst])
        if these not in tried and stock.total(groups) > enough + 1e-6:
            tried.add(these)  # the same come out the same
            part = [length for group in these for length in group]
            groups = (
                stock_lengths.cut(stock, part, list(these), enough - stock.total(kept))[0] + kept
            )
    return groups


_LENGTHS = 1200  # distinct lengths up to which everything is packed again
_WORST = (25, 80)  # purchases packed again by themselves


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
