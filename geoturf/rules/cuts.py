"""Rules of the cut plan."""

from __future__ import annotations

from typing import Literal

from geoturf.rules.base import COMMON, Length, Rules, rule


class StockPiece(Rules):
    """A left-over at hand, used before anything is bought, across as much of its width as a roll
    has."""

    product: str
    width_m: Length = rule(..., "its usable width", least="1 in", most="100 ft", source="")
    length_m: Length = rule(..., "its length", least="1 in", most="1000 ft", source="")


class CutRules(Rules):
    """How pieces share rolls."""

    pool: Literal["phase", "site", "area"] = rule(
        "phase", "who shares rolls (one dye lot) of a product", source=COMMON
    )
    billing_step_m: Length = rule(
        "1 ft",
        "a length off a roll is billed to the next of this",
        least="1 cm",
        most="1000 ft",
        source=COMMON,
    )
    divide: bool = rule(
        False,
        "where whole rolls are sold, strips may be divided by cross seams to fill them, if that saves over twice their cost",
    )
    least_length_m: Length = rule(
        "6 ft", "no strip is divided in lengths shorter than this", source=COMMON
    )
    effort: Literal["quick", "normal", "thorough"] = rule(
        "normal",
        "thorough: large pools cut from lengths take a minute or two each, for some 0.3 % less turf; "
        "quick: pools of up to 100 pieces in half the time, for some 0.02 % more",
    )
    left_over_width_m: Length = rule("3 ft", "left-overs at least this wide are listed for later")
    left_over_length_m: Length = rule("10 ft", "left-overs at least this long are listed for later")
    stock: tuple[StockPiece, ...] = rule(
        (), "left-overs at hand: a list of tables with product, width, length"
    )
