"""A square plan made over: its full-width pieces cut along chalk lines and nested, where that buys
less."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from geoturf import pile
from geoturf.cuts import rolls, slanted
from geoturf.cuts.job import Bought, Job, Section
from geoturf.cuts.solve import Cut
from geoturf.model import Ground, Layout
from geoturf.rules import LayoutRules

Nest = tuple[
    Job, np.ndarray, Cut
]  # pieces told apart by their chalk lines, each one's row in the job, and its plan

_FOUND = (
    0.75  # of the triangles at slanted ends are taken up by other pieces, in pools that were tried
)
_SHARES = (
    1,
    0.9,
    0.75,
    0.5,
    0.3,
)  # of a roll that a chain may take: short ones fill rolls better, long ones save more
_PACKED = 2  # of those, the cheapest so many are packed with all the work there is


def lines_of(
    ground: Ground, area: int, layout: Layout, rules: LayoutRules, step_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Chalk lines of an area's pieces in steps, int (n, 3): middle, start, end, zeros where a piece
    is narrower than the roll; and the u (m) at which each start line meets the piece's left edge
    (n,)."""
    lines = np.zeros((len(layout.pieces), 3), np.int64)
    left = np.zeros(len(layout.pieces))
    full = layout.cut[:, 1] >= layout.width_m - 1e-9
    if full.any():
        shape = pile.turned(ground.areas["laid"].iloc[area], layout.bearing_deg)
        allowance = rules.both_ends_m / 2
        lines[full], left[full] = slanted.cut_lines(
            shape, layout.pieces[full], allowance, layout.width_m, step_m
        )
    return lines, left


def spared_m2(ground: Ground, area: int, layout: Layout, rules: LayoutRules) -> float:
    """What chalk lines take off the turf of a layout's pieces (m2), most of it: not every end finds
    its like."""
    lines, _ = lines_of(ground, area, layout, rules, rules.cut_step_m)
    full = lines[:, 0] > 0
    return (
        _FOUND
        * layout.roll_width_m
        * float((layout.cut[full, 0] - lines[full, 0] * rules.cut_step_m).sum())
    )


def nest(job: Job, kind: np.ndarray, cut: Cut, lines: np.ndarray) -> Nest:
    """The job with pieces told apart by their ``lines`` (n, 3), each piece's row in it, and the
    cheaper of the square plan and the nested one. The bound is that of the pieces' areas: no plan,
    nested in any way, needs less."""
    fine, rows = _told_apart(job, kind, lines)
    waiting = _waiting(kind, rows)
    stock = tuple((row, _renamed(sections, waiting)) for row, sections in cut.from_stock)
    square = tuple(_renamed(sections, waiting) for sections in cut.bought)
    made = sorted(
        _chained_ways(fine, square), key=lambda sections: _price(fine, rolls.pack(fine, sections))
    )
    plans = [rolls.pack(fine, sections, hard=True) for sections in made[:_PACKED]]
    best = min((square, *map(tuple, plans)), key=lambda plan: _price(fine, list(plan)))
    return fine, rows, Cut(stock, best, least_m(fine))


def _price(job: Job, plan: list[Bought]) -> float:
    return round(rolls.price(job, plan), 6)


def _told_apart(job: Job, kind: np.ndarray, lines: np.ndarray) -> tuple[Job, np.ndarray]:
    every = np.column_stack([-job.size[kind], lines])
    keys, rows = np.unique(every, axis=0, return_inverse=True)
    rows = rows.reshape(-1)
    return replace(
        job, size=-keys[:, :2], demand=np.bincount(rows, minlength=len(keys)), slant=keys[:, 2:]
    ), rows


def _waiting(kind: np.ndarray, rows: np.ndarray) -> dict[int, list[int]]:
    """For each size of the square job, the rows of its pieces in the new one, to be taken from the
    end."""
    waiting: dict[int, list[int]] = {}
    for size, row in sorted(zip(kind.tolist(), rows.tolist(), strict=True), reverse=True):
        waiting.setdefault(size, []).append(row)
    return waiting


def _renamed(sections: Bought, waiting: dict[int, list[int]]) -> Bought:
    return tuple(
        (length, tuple((width, tuple(waiting[k].pop() for k in lane)) for width, lane in lanes))
        for length, lanes in sections
    )


def _chained_ways(job: Job, square: tuple[Bought, ...]) -> Iterator[list[Section]]:
    """The plan's sections, full-width pieces in chains of several greatest lengths."""
    sections = [section for bought in square for section in bought]
    alone = [section[1][0][1][0] for section in sections if _may_slant(job, section)]
    others = [section for section in sections if not _may_slant(job, section)]
    pieces = [job.outline(k) for k in alone]
    seen = set()
    for share in _SHARES:
        chains = slanted.chains(pieces, int(job.longest * share))
        if (key := tuple(map(tuple, chains))) not in seen:
            seen.add(key)
            yield [*others, *(_chained(job, [alone[i] for i in chain]) for chain in chains)]


def _may_slant(job: Job, section: Section) -> bool:
    """A section of one piece as wide as the roll, one of whose ends is not square."""
    lanes = section[1]
    return len(lanes) == 1 and len(lanes[0][1]) == 1 and bool(job.slants[lanes[0][1][0], 1:].any())


def _chained(job: Job, chain: list[int]) -> Section:
    if len(chain) == 1:  # cut square, as in the square plan
        return int(job.size[chain[0], 0]), ((job.width, tuple(chain)),)
    return slanted.span([job.outline(k) for k in chain]), ((job.width, tuple(chain)),)


def least_m(job: Job) -> float:
    """Metres of roll that the pieces' areas take, less what left-overs at hand could stand for."""
    middle = job.slants[:, 0]
    length = np.where(middle > 0, np.minimum(middle, job.size[:, 0]), job.size[:, 0])
    area = int((job.demand * length * job.size[:, 1]).sum()) - sum(
        long * wide for long, wide in job.left_overs
    )
    return job.least_m(max(0, -(-area // job.width)))
