"""One job solved: left-overs at hand used first, then purchases, and the bound beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geoturf.cuts import dual, rolls, sections
from geoturf.cuts.job import Bought, Job, Section, count, relabelled, used
from geoturf.errors import PromiseError
from geoturf.model import Finding


@dataclass(frozen=True)
class Cut:
    """``from_stock``: (row of ``Job.left_overs``, sections); ``bought``: sections of each purchase; ``bound_m``: metres of
    roll that no plan for these pieces buys less than."""

    from_stock: tuple[tuple[int, Bought], ...]
    bought: tuple[Bought, ...]
    bound_m: float

    def bought_m(self, job: Job) -> float:
        return sum(job.purchase(used(sections))[0] for sections in self.bought)


def solve(job: Job) -> Cut:
    """A plan for the job and what no plan can beat. Raises `PromiseError` if the two contradict each other."""
    from_stock, left = _use_stock(job)
    rest, rows = job.only(left)
    bought = tuple(relabelled(piece, rows) for piece in _buy(rest))
    cut = Cut(tuple(from_stock), bought, _bound_m(job))
    _assert_whole(job, cut)
    return cut


def _buy(job: Job) -> list[Bought]:
    return rolls.pack(job, sections.quick(job))


def _bound_m(job: Job) -> float:
    """The strongest bound, as a length that can be bought."""
    if not len(job.demand):
        return 0.0
    least = job.least_m(dual.least_length(job))
    if not job.market.by_length and len(job.rolls) == 1:
        least = max(least, dual.least_rolls(job) * job.market.lengths_m[0])
    return least


def _use_stock(job: Job) -> tuple[list[tuple[int, Bought]], np.ndarray]:
    """Left-overs filled one after the other, each with the sections that use most of it, and the demand (k,) left."""
    left, filled = job.demand.copy(), []
    for at, (length, width) in enumerate(job.left_overs):
        width = min(width, job.width)
        fits = (job.size[:, 0] <= length) & (job.size[:, 1] <= width)
        if not (left * fits).any():
            continue
        small, rows = replace(job, width=width).only(left * fits)
        found = relabelled(sections.quick(small), rows)
        chosen = tuple(rolls.fullest(length, list(found), [_area(job, section) for section in found]))
        filled.append((at, chosen))
        left = left - count(chosen, len(left))
    return filled, left


def _area(job: Job, section: Section) -> int:
    return sum(int(job.size[k].prod()) for _, lane in section[1] for k in lane)


def _assert_whole(job: Job, cut: Cut) -> None:
    """Every piece once, every purchase possible, and no less bought than the bound says."""
    everything = [s for _, piece in cut.from_stock for s in piece] + [s for piece in cut.bought for s in piece]
    faults = []
    if not np.array_equal(count(everything, len(job.demand)), job.demand):
        faults.append("a piece is cut twice or not at all")
    if any(not 0 < used(piece) <= job.longest for piece in cut.bought):
        faults.append("a purchase is longer than its roll")
    if any(used(piece) > job.left_overs[at][0] for at, piece in cut.from_stock):
        faults.append("a left-over is cut longer than it is")
    if any(sum(width for width, _ in lanes) > job.width for _, lanes in everything):
        faults.append("lanes are wider than the roll")
    if cut.bought_m(job) < cut.bound_m - 1e-6:
        faults.append(f"{cut.bought_m(job):.3f} m are bought under a bound of {cut.bound_m:.3f} m")
    if faults:
        raise PromiseError(Finding("error", "cut-plan", "; ".join(faults)))
