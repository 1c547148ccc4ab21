"""Rules of the roll layout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator

from geoturf import units
from geoturf.rules.base import (
    ASSUMED,
    COMMON,
    Angle,
    Area,
    Fraction,
    Length,
    Price,
    Rules,
    each,
    rule,
)
from geoturf.units import FOOT_M, INCH_M, US, System


def _bearing(value: object) -> object:
    if value == "free":
        return value
    try:
        return units.read(value, "angle")  # type: ignore[arg-type]  # it refuses what is none
    except units.UnitError:
        raise ValueError(
            f"'{value}' is neither free nor a compass bearing, such as \"45 deg\""
        ) from None


Bearing = Annotated[float | Literal["free"], BeforeValidator(_bearing)]


# what the grid of laid vertices, a micrometre, adds to a length at most: it buys no cut step
HAIR_M = 1.5e-6
MOST_STEPS = 12_000  # of a roll's length: 1,000 ft by the inch; tables of the cut plan are as long


MEASURED = "tests/bench/large.py: what a run takes"
# slants of ends, in widths of the strip: half a right angle; steeper ones were tried and spared
# nothing
STEEPEST = 1.0
CROSS_WORTH = 2.0  # times what it costs, a cross seam saves at least where a roll reaches


class LayoutRules(Rules):
    """How turf is laid in one area, and what seams weigh against turf."""

    method: Literal["lay", "estimate"] = rule(
        "lay",
        "lay every piece; or estimate turf and seams from the shapes alone, with the spread told: "
        "no pieces, rolls, "
        "cut plan or crew's papers",
    )
    lay: Annotated[tuple[str, ...], BeforeValidator(each)] = rule(
        (), "sites that are laid all the same where the others are estimated"
    )
    selvage_trim_m: Length = rule(
        "1 in",
        "trimmed off each side of a roll (three stitches)",
        low="1/2 in",
        high="2 in",
        source=COMMON,
    )
    end_allowance_m: Length = rule(
        "3 in", "added to a piece at each end, to trim", low="2 in", high="6 in", source=COMMON
    )
    side_allowance_m: Length = rule(
        "1 in", "added to the width of a piece narrower than the usable width", source=COMMON
    )
    cut_step_m: Length = rule(
        "1 in",
        "cut lengths and widths are rounded up to this",
        least="5 mm",
        most="12 in",
        source=COMMON,
    )
    min_piece_width_m: Length = rule(
        "2 ft", "no piece is narrower, unless the area is", low="1 ft", high="4 ft", source=COMMON
    )
    min_piece_length_m: Length = rule(
        "3 ft",
        "no piece is shorter, unless turf there is; told where it is",
        low="1 ft",
        high="6 ft",
        most="12 ft",
        source=COMMON,
    )
    narrow_strip: Fraction = rule(
        "40 %",
        "strips under this part of the usable width lie along a border and not side by side; 0 %: "
        "anywhere",
        low="25 %",
        high="50 %",
        most="50 %",
        source=COMMON,
    )
    full_strips_m: Length = rule(
        "6 in",
        "length of roll given up, at most, for one strip less inside the turf that is narrower "
        "than the roll, "
        "or beside another such: full strips first, the odd one at a border; 0: all the same",
        high="10 ft",
        source=ASSUMED,
    )
    cross_seams: Literal["needed", "corners", "anywhere"] = rule(
        "corners",
        "in strips longer than a roll only; also at inner corners, as long as turf is wide there, "
        "where that saves "
        "over twice what it costs, told area by area; or anywhere it does",
        source=COMMON,
    )
    seam_cost: Price = rule(
        "4.14 USD/ft",
        "a seam, weighed against turf; if not given, its tape and adhesive (or nails) and labour "
        "at the bid's own prices",
        source=ASSUMED,
    )
    cross_seam_cost: Price = rule(
        "37.00 USD",
        "a cross seam, over and above its length, weighed against turf; if not given, its labour "
        "at the bid's own prices",
        source=ASSUMED,
    )
    bearing: Bearing = rule(
        "free", "pile bearing in compass degrees for all areas that state none, or free"
    )
    view: Literal["given", "auto"] = rule(
        "given",
        "areas seen together, whose pile leans one way: those the column view names; or also what "
        "the data tell: front "
        "yards in a row, areas of a site without buildings, areas that a path parts",
    )
    view_turn: Angle = rule(
        "15 deg",
        "lots of a row that the data tell lean within this of one bearing, each as suits it best, "
        "as their street bends; "
        "0 deg: all exactly one way",
        high="30 deg",
        most="30 deg",
        source=COMMON,
    )
    toward: str = rule("", "name of a point or line layer the pile leans to (the viewer's side)")
    alike: Literal["plan", "free"] = rule(
        "plan",
        "areas of one shape (moved, turned or mirrored) that share rolls take one layout, mirrored "
        "where they are; or each "
        "what saves most turf; where rolls are cut on site the latter, unless asked for",
        source=COMMON,
    )
    alike_within_m: Length = rule(
        "1/8 in",
        "shapes whose corners agree this closely are one shape, laid as the first is drawn",
        low="1/32 in",
        high="1/2 in",
        most="1 in",
        source=ASSUMED,
    )
    plan_size: Fraction = rule(
        "5 %",
        "lots of one model are one house plan where their ground differs by no more",
        low="1 %",
        high="20 %",
        source=ASSUMED,
    )
    nesting: Literal["square", "slanted"] = rule(
        "square", "pieces cut square, or with slanted ends nested on the roll"
    )

    regular_from_m2: Area = rule(
        "50 acre",
        "areas over this are laid in regular strips (full widths from side to side at the best of "
        "a few bearings), told by name",
        low="1 acre",
        high="200 acre",
        source=MEASURED,
    )
    regular_corners: float = rule(
        5_000.0, "so are areas of more corners", low=1_000.0, high=20_000.0, source=MEASURED
    )
    regular_border_m: Length = rule(
        "20 km",
        "and those with more border, holes' too: what a search has to look at grows by its square",
        low="5 km",
        high="40 km",
        source=MEASURED,
    )
    regular_bid_m2: Area = rule(
        "500 acre",
        "and in bids over this every area over an acre",
        low="50 acre",
        high="2000 acre",
        source=MEASURED,
    )
    laid_bid_m2: Area = rule(
        "800 acre",
        "in bids over this the largest areas are estimated, as many as leave no more than this to "
        "lay, and told",
        low="500 acre",
        high="12000 acre",
        source=MEASURED,
    )

    @property
    def both_ends_m(self) -> float:
        """Both end allowances of a piece, less a hair. So a piece drawn just as long as a roll
        holds is cut from one."""
        return max(0.0, 2 * self.end_allowance_m - HAIR_M)

    def longest_laid_m(self, lengths_m: Sequence[float]) -> float:
        """Longest piece as laid that rolls so long give."""
        return (
            units.round_down(max(lengths_m), self.cut_step_m) * self.cut_step_m - self.both_ends_m
        )

    def least_laid_m(self, lengths_m: Sequence[float]) -> float:
        """Least length of a piece as laid from rolls so long: what is just longer than a roll holds
        is laid in two halves, whatever `min_piece_length_m` says."""
        return min(self.min_piece_length_m, self.longest_laid_m(lengths_m) / 2)

    def unfit(self, width_m: float, length_m: float, told: System = US) -> str:
        """Why nothing can be cut from a roll so wide, the longest so long, in units of ``told``;
        empty where something can."""
        usable = width_m - 2 * self.selvage_trim_m
        longest = length_m - 2 * self.end_allowance_m
        least = max(self.min_piece_width_m, self.cut_step_m, INCH_M)
        if usable < least:
            return (
                f"a roll {told.size(width_m)} wide leaves {told.size(max(usable, 0))} between its "
                "selvage trims, less than the "
                f"smallest piece ({told.size(least)}); set roll_width, selvage_trim or "
                "min_piece_width"
            )
        if longest < max(self.end_allowance_m, self.cut_step_m, FOOT_M):
            return (
                f"a roll {told.size(length_m)} long leaves no piece between two end allowances of "
                f"{told.size(self.end_allowance_m)}; set roll_lengths or end_allowance"
            )
        return ""

    def too_fine(self, length_m: float, told: System = US) -> str:
        """Why the cut step is too fine for a roll so long; empty where it is not."""
        if length_m <= MOST_STEPS * self.cut_step_m:
            return ""
        return (
            f"a roll {told.size(length_m)} long is more than {MOST_STEPS:,} cut steps of "
            f"{told.size(self.cut_step_m)}; "
            "set roll_lengths or cut_step"
        )
