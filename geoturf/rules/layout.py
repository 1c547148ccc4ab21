"""Rules of the roll layout."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator

from geoturf import units
from geoturf.rules.base import ASSUMED, COMMON, Length, Price, Rules, rule


def _bearing(value: object) -> object:
    if value == "free":
        return value
    try:
        return units.read(value, "angle")  # type: ignore[arg-type]
    except units.UnitError:
        raise ValueError(f"'{value}' is neither free nor a compass bearing, such as \"45 deg\"") from None


Bearing = Annotated[float | Literal["free"], BeforeValidator(_bearing)]


STEEPEST = 1.0  # slants of ends, in widths of the strip: half a right angle; steeper ones were tried and spared nothing


class LayoutRules(Rules):
    """How turf is laid in one area, and what seams weigh against turf."""

    selvage_trim_m: Length = rule(
        "1 in", "trimmed off each side of a roll (three stitches)", low="1/2 in", high="2 in", source=COMMON
    )
    end_allowance_m: Length = rule(
        "3 in", "added to a piece at each end, to trim", low="2 in", high="6 in", source=COMMON
    )
    side_allowance_m: Length = rule(
        "1 in", "added to the width of a piece narrower than the usable width", source=COMMON
    )
    cut_step_m: Length = rule("1 in", "cut lengths and widths are rounded up to this", source=COMMON)
    min_piece_width_m: Length = rule(
        "6 in", "no piece is narrower, unless the area is", low="4 in", high="12 in", source=COMMON
    )
    seam_cost: Price = rule(
        "4.14 USD/ft",
        "a seam, weighed against turf; if not given, its tape and adhesive (or nails) and labour at the bid's own prices",
        source=ASSUMED,
    )
    cross_seam_cost: Price = rule(
        "12.00 USD", "a cross seam, over and above its length, weighed against turf", source=ASSUMED
    )
    bearing: Bearing = rule("free", "pile bearing in compass degrees for all areas that state none, or free")
    toward: str = rule("", "name of a point or line layer the pile leans to (the viewer's side)")
    nesting: Literal["square", "slanted"] = rule("square", "pieces cut square, or with slanted ends nested on the roll")
