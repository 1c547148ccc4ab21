"""Plans to tables: where every piece lies, what every roll is, what is left over, what each area
got."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from geoturf import pile
from geoturf.cuts import slanted
from geoturf.cuts.job import Bought, Job, is_chain, used
from geoturf.cuts.planned import Chosen, JobPlan
from geoturf.cuts.pools import Pool
from geoturf.model import Choices, Ground, Layout
from geoturf.rules import CutRules

ROLLS = (
    "roll",
    "phase",
    "product",
    "pool",
    "width_m",
    "length_m",
    "used_m",
    "pieces",
    "left_over_m",
    "pattern",
    "source",
)
STOCK = ("roll", "phase", "product", "width_m", "length_m", "along_m", "across_m")


@dataclass
class Book:
    """The rolls of a plan while they are written down. A piece is a number in the bid, ``pieces``
    how many there are."""

    pieces: int
    rules: CutRules
    roll: list[str] = field(init=False)
    left_m: np.ndarray = field(
        init=False
    )  # (n, 2): start and length of each piece along the roll's left edge
    right_m: np.ndarray = field(
        init=False
    )  # (n, 2): and along its right edge; not the same where the ends slant
    across_m: np.ndarray = field(init=False)
    left_u_m: dict[int, float] = field(
        default_factory=dict
    )  # where a slanted piece's start line meets its left edge
    rolls: list[tuple[object, ...]] = field(default_factory=list)  # rows of `ROLLS`
    stock: list[tuple[object, ...]] = field(default_factory=list)  # rows of `STOCK`
    patterns: dict[tuple[object, ...], str] = field(default_factory=dict)
    names: dict[str, int] = field(default_factory=lambda: {"R": 0, "S": 0})

    def __post_init__(self) -> None:
        self.roll = [""] * self.pieces
        self.left_m, self.right_m = np.zeros((self.pieces, 2)), np.zeros((self.pieces, 2))
        self.across_m = np.zeros(self.pieces)

    def enter(
        self, pool: Pool, plan: JobPlan, numbers: list[int], order: list[tuple[int, list[int]]]
    ) -> None:
        """A solved job. ``numbers``: number in the bid of each piece of the job; ``order``: its
        rolls as they are cut one after the other, each with the pieces in its slots
        (`geoturf.cuts.order.sequence`)."""
        job = plan.job
        cut = plan.cut
        rows = cut.rolls
        if plan.left_u_m:
            self.left_u_m.update(zip(numbers, plan.left_u_m, strict=True))
        for row, pieces in order:
            stock = row < len(cut.from_stock)
            if stock:
                length_m, width_m = plan.at_hand[cut.from_stock[row][0]]
            else:
                length_m = job.purchase(used(rows[row]))[0]
                width_m = job.market.roll_width_m
            name = self._name("S" if stock else "R")
            self._place(job, rows[row], name, [numbers[piece] for piece in pieces])
            usable = job.left_overs[cut.from_stock[row][0]][1] if stock else job.width
            self._left_overs(pool, job, rows[row], name, (usable, length_m))
            self._roll(
                pool, job, rows[row], name, (width_m, length_m), "stock" if stock else "bought"
            )

    def _name(self, letter: str) -> str:
        self.names[letter] += 1
        return f"{letter}{self.names[letter]:04d}"

    def _roll(
        self, pool: Pool, job: Job, bought: Bought, name: str, of: tuple[float, float], source: str
    ) -> None:
        used_m = used(bought) * job.step_m
        lanes = [lane for _, section in bought for _, lane in section]
        shape = tuple(tuple(_outlines(job, lane)) for lane in lanes)
        key = (
            pool.product,
            *(round(side, 6) for side in of),
            job.step_m,
            shape,
            tuple(h for h, _ in bought),
        )
        pattern = self.patterns.setdefault(key, f"P{len(self.patterns) + 1}")
        where = (name, pool.phase, pool.product, pool.key)
        self.rolls.append(
            (*where, *of, used_m, sum(map(len, lanes)), max(0.0, of[1] - used_m), pattern, source)
        )

    def _place(self, job: Job, bought: Bought, name: str, numbers: list[int]) -> None:
        slot = 0
        start = 0
        for section in bought:
            across = 0
            for width, lane in section[1]:
                places = _chained(job, lane) if is_chain(job, section) else _stacked_up(job, lane)
                for left, right in places:
                    number = numbers[slot]
                    self.roll[number] = name
                    self.left_m[number] = (start + left[0]) * job.step_m, left[1] * job.step_m
                    self.right_m[number] = (start + right[0]) * job.step_m, right[1] * job.step_m
                    self.across_m[number] = across * job.step_m
                    slot += 1
                across += width
            start += section[0]

    def _left_overs(
        self, pool: Pool, job: Job, bought: Bought, name: str, of: tuple[int, float]
    ) -> None:
        """The tail of the roll, what is left beside the lanes, and the ends of lanes. ``of``:
        usable width (steps) and length (m) of the roll."""
        start = 0
        step = job.step_m
        (usable, length_m) = of
        for section in bought:
            length, lanes = section
            across = 0
            for width, lane in lanes:
                full = (
                    length
                    if is_chain(job, section)
                    else sum(int(job.size[kind, 0]) for kind in lane)
                )
                self._keep(
                    pool,
                    name,
                    width * step,
                    (length - full) * step,
                    (start + full) * step,
                    across * step,
                )
                across += width
            self._keep(
                pool, name, (usable - across) * step, length * step, start * step, across * step
            )
            start += length
        self._keep(pool, name, usable * step, length_m - start * step, start * step, 0.0)

    def _keep(
        self,
        pool: Pool,
        name: str,
        width_m: float,
        length_m: float,
        along_m: float,
        across_m: float,
    ) -> None:
        if (
            width_m >= self.rules.left_over_width_m - 1e-9
            and length_m >= self.rules.left_over_length_m - 1e-9
        ):
            self.stock.append(
                (name, pool.phase, pool.product, width_m, length_m, along_m, across_m)
            )

    def rolls_table(self) -> pd.DataFrame:
        return pd.DataFrame(self.rolls, columns=list(ROLLS))

    def stock_table(self) -> pd.DataFrame:
        return pd.DataFrame(self.stock, columns=list(STOCK))


_Edge = tuple[int, int]  # start and length along an edge of the roll, in steps


def _stacked_up(job: Job, lane: tuple[int, ...]) -> list[tuple[_Edge, _Edge]]:
    """Left and right edge of square pieces end to end."""
    along = 0
    places = []
    for kind in lane:
        edge = (along, int(job.size[kind, 0]))
        places.append((edge, edge))
        along += edge[1]
    return places


def _chained(job: Job, lane: tuple[int, ...]) -> list[tuple[_Edge, _Edge]]:
    """Left and right edge of nested pieces."""
    chain = [job.outline(kind) for kind in lane]
    places = []
    for at, (middle, start, end) in zip(slanted.starts(chain), chain, strict=True):
        lean = (end - start) // 2
        places.append(((at, middle - lean), (at + start, middle + lean)))
    return places


def _outlines(job: Job, lane: tuple[int, ...]) -> list[tuple[int, ...]]:
    """What makes two pieces alike on a roll."""
    slant = np.zeros((len(job.size), 0), int) if job.slant is None else job.slant
    return [(*job.size[kind].tolist(), *slant[kind].tolist()) for kind in lane]


def pieces_table(ground: Ground, chosen: Chosen, book: Book) -> pd.DataFrame:
    """Every piece, area by area in the order of its layout."""
    rows = [(row, layout) for row, layout in sorted(chosen.items()) if len(layout.pieces)]
    counts = [len(layout.pieces) for _, layout in rows]
    laid = _stacked([layout.pieces for _, layout in rows], 4)
    cut = _stacked([layout.cut for _, layout in rows], 2)
    lean = book.right_m - book.left_m
    slants = (np.abs(lean) > 1e-9).any(axis=1)
    left_u = np.array([book.left_u_m.get(number, np.nan) for number in range(book.pieces)])
    return pd.DataFrame(
        {
            "piece": _names(ground, [row for row, _ in rows], counts),
            "area_index": np.repeat([row for row, _ in rows], counts).astype(np.int64),
            **dict(zip(("u0", "u1", "v0", "v1"), laid.T, strict=True)),
            "bearing_deg": np.repeat([layout.bearing_deg for _, layout in rows], counts).astype(
                float
            ),
            "roll": book.roll,
            "along_m": book.left_m[:, 0],
            "across_m": book.across_m,
            "length_m": np.where(slants, book.left_m[:, 1], cut[:, 0]),
            "width_m": cut[:, 1],
            "start_slant_m": np.where(slants, lean[:, 0], 0.0),
            "end_slant_m": np.where(slants, lean.sum(axis=1), 0.0),
            "cut_u_m": np.where(slants, left_u, np.nan),
        }
    )


def _names(ground: Ground, rows: list[int], counts: list[int]) -> list[str]:
    """``site-area-1`` …; a name already given away goes on counting."""
    given: dict[str, int] = {}
    names: list[str] = []
    taken: set[str] = set()
    for row, count in zip(rows, counts, strict=True):
        site = str(ground.areas["site"].iloc[row])
        area = str(ground.areas["area"].iloc[row])
        stem = "-".join(part for part in (site, area) if part) or f"area{row + 1}"
        for _ in range(count):
            number = given.get(stem, 0) + 1
            while f"{stem}-{number}" in taken:
                number += 1
            given[stem] = number
            names.append(f"{stem}-{number}")
            taken.add(names[-1])
    return names


def seams_table(chosen: Chosen) -> pd.DataFrame:
    """Every seam and cross seam, as a segment in pile coordinates; area by area, seams first."""
    rows = sorted(chosen.items())
    parts = [part for _, layout in rows for part in (_along(layout), _across(layout))]
    counts = [len(part) for part in parts]
    ends = _stacked(parts, 4)
    areas = np.repeat([row for row, _ in rows], 2)
    bearings = np.repeat([layout.bearing_deg for _, layout in rows], 2)
    return pd.DataFrame(
        {
            "area_index": np.repeat(areas, counts).astype(np.int64),
            "kind": np.repeat(["seam", "cross"] * len(rows), counts).astype(object),
            **dict(zip(("u0", "v0", "u1", "v1"), ends.T, strict=True)),
            "bearing_deg": np.repeat(bearings, counts).astype(float),
            "length_m": np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]),
        }
    )


def _along(layout: Layout) -> np.ndarray:
    """Seams as u0, v0, u1, v1."""
    v, u0, u1 = layout.seams.reshape(-1, 3).T
    return np.column_stack([u0, v, u1, v])


def _across(layout: Layout) -> np.ndarray:
    """Cross seams as u0, v0, u1, v1."""
    u, v0, v1 = layout.cross.reshape(-1, 3).T
    return np.column_stack([u, v0, u, v1])


def chosen_table(
    chosen: Chosen, choices: tuple[Choices, ...], bought_m2: np.ndarray, pieces: pd.DataFrame
) -> pd.DataFrame:
    """What each area got, areas-aligned; ``pieces`` as `pieces_table` gives them."""
    cut = np.bincount(pieces["area_index"], pile.cut_m2(pieces), len(choices))
    rows = []
    for row, choice in enumerate(choices):
        layout = chosen.get(row)
        if layout is None:
            rows.append((np.nan, 0.0, 0, 0, 0.0, 1.0))
            continue
        ratio = 1.0
        if choice.free_cost > 0:  # not where it is NaN
            ratio = max(1.0, min(other.cost for other in choice.layouts) / choice.free_cost)
        rows.append(
            (
                layout.bearing_deg,
                layout.seam_m,
                len(layout.cross),
                len(layout.pieces),
                cut[row],
                ratio,
            )
        )
    kinds = {
        "pile_bearing_deg": float,
        "seam_m": float,
        "cross_seams": int,
        "pieces": int,
        "piece_area_m2": float,
        "free_cost_ratio": float,
    }
    table = pd.DataFrame(rows, columns=list(kinds)).astype(
        kinds
    )  # numbers, also where none is laid
    table.insert(5, "turf_bought_m2", bought_m2)
    return table


def cut_m2(layout: Layout) -> float:
    """Area of the pieces as cut."""
    return float(np.sum(layout.cut.reshape(-1, 2).prod(axis=1)))


def shares(total: float, weights: np.ndarray) -> np.ndarray:
    """``total`` shared by ``weights`` in whole millionths, adding up to it."""
    millionths = (
        np.round(total * 1e6 * np.cumsum(weights) / weights.sum())
        if weights.sum()
        else np.zeros(len(weights))
    )
    parts = np.diff(millionths, prepend=0.0) / 1e6
    parts[-1] += total - parts.sum()
    return parts


def _stacked(arrays: list[np.ndarray], columns: int) -> np.ndarray:
    if arrays:
        return np.concatenate(arrays)
    return np.zeros((0, columns))
