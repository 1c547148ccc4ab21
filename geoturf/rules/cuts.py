"""Rules of the cut plan."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, model_validator

from geoturf.rules.base import COMMON, Length, Mass, Rules, each, rule

CARRY = (
    "four people at the 51 lb that the NIOSH lifting equation (publication 94-110) allows one at "
    "best, from memory"
)


class StockPiece(Rules):
    """A left-over at hand, used before anything is bought, across as much of its width as a roll
    has."""

    product: str
    width_m: Length = rule(
        ...,
        "its usable width",
        least="1 in",
        most="100 ft",
        source="",
    )
    length_m: Length = rule(
        ...,
        "its length",
        least="1 in",
        most="1000 ft",
        source="",
    )


class CutRules(Rules):
    """How pieces share rolls."""

    pool: Literal["phase", "site", "area"] = rule(
        "phase", "who shares rolls (one dye lot) of a product", source=COMMON
    )
    cutting: Literal["yard", "site"] = rule(
        "yard",
        "yard: rolls are cut one after another, pieces bundled by lot; site: lots in the order of "
        "work, few rolls begun at a time",
        source=COMMON,
    )
    open_rolls: int = rule(
        6,
        "on site, rolls begun and unfinished at any time, of all turf together",
        low=3,
        high=12,
        least=1,
        most=1000,
        source=COMMON,
    )
    rolls_per_lot: int = rule(
        8,
        "on site, rolls a lot draws on at most, where it shares any with others",
        low=4,
        high=12,
        least=1,
        most=1000,
        source=COMMON,
    )
    draw_length_m: Length = rule(
        "1 ft",
        "on site, what one roll more that a lot draws on weighs, in length of the dearest roll",
        low="0 ft",
        high="5 ft",
        most="1000 ft",
    )
    open_rolls_compared: Annotated[tuple[int, ...], BeforeValidator(each)] = rule(
        (),
        "on site, other numbers of open rolls that are planned too, for open_rolls.csv (each takes "
        "as long again)",
        least=1,
        most=1000,
    )
    carry_limit_kg: Mass = rule(
        "200 lb",
        "what a crew carries by hand at most, for the note on heavy pieces",
        low="100 lb",
        high="300 lb",
        source=CARRY,
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
        "where whole rolls are sold, strips may be divided by cross seams to fill them, if that "
        "saves over twice their cost",
    )
    least_length_m: Length = rule(
        "6 ft", "no strip is divided in lengths shorter than this", source=COMMON
    )
    effort: Literal["quick", "normal", "thorough"] = rule(
        "normal",
        "thorough: large pools cut from lengths take a minute or two each, for some 0.3 % less "
        "turf; "
        "quick: pools of up to 100 pieces in half the time, for some 0.02 % more",
    )
    left_over_width_m: Length = rule("3 ft", "left-overs at least this wide are listed for later")
    left_over_length_m: Length = rule("10 ft", "left-overs at least this long are listed for later")
    stock: tuple[StockPiece, ...] = rule(
        (), "left-overs at hand: a list of tables with product, width, length"
    )

    @model_validator(mode="after")
    def _carries_no_stock(self) -> CutRules:
        if self.cutting == "site" and self.stock:
            raise ValueError(
                'cutting = "site" does not plan with left-overs at hand; leave stock out, or cut '
                "in a yard"
            )
        return self

    @property
    def on_site(self) -> bool:
        """Whether rolls that lots share are carried from lot to lot."""
        return self.cutting == "site" and self.pool == "phase"
