"""Products: what turf is sold, and how."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BeforeValidator, model_validator

from geoturf import units
from geoturf.rules.base import (
    ASSUMED,
    COMMON,
    ArealMass,
    Break,
    Length,
    Price,
    Rules,
    rule,
    unfit_amount,
    unfit_breaks,
)


def _lengths(value: Any) -> tuple[float, ...]:
    """One stocked length or a list of them."""
    values = value if isinstance(value, (list, tuple)) else [value]
    lengths = {units.read(one, "length") for one in values}
    return tuple(sorted(lengths, reverse=True))


def _assert_sold(size: RollSize | Product) -> None:
    """Raises `ValueError` for a roll of no size, or a price that is for none."""
    if size.roll_width_m <= 0:
        raise ValueError("roll_width must be more than zero")
    if not size.roll_lengths:
        raise ValueError("roll_lengths must be more than zero")
    if size.price.dimension not in ((2, 0, 0), (1, 0, 0)) and size.price.unit != "roll":
        raise ValueError('price of turf is per area ("2.10 USD/ft^2"), per length or per roll')


_ALIKE_M = 1e-3  # widths that differ by less are one
_WIDEST = "30 ft"
_SHORTEST = "1 ft"
_LONGEST = "1000 ft"


class StockedWidth(NamedTuple):
    """Rolls of one width (m), their stocked lengths (m), longest first, and what they cost."""

    roll_width_m: float
    roll_lengths: tuple[float, ...]
    price: units.Money

    @property
    def unit_m2(self) -> float:
        """m2 of roll in what the price is for, in SI: a m2, a metre of roll, or a roll of the
        longest length."""
        if self.price.dimension == (2, 0, 0):
            return 1.0
        if self.price.dimension == (1, 0, 0):
            return self.roll_width_m
        return self.roll_width_m * self.roll_lengths[0]

    @property
    def price_per_m2(self) -> float:
        """Money for a m2 of roll, of the longest length where the price is for a roll."""
        return self.price.per_si() / self.unit_m2

    def roll_price(self, length_m: float, by_length: bool) -> float:
        """Money for a whole roll. A price per roll is that of any stocked length, or of the longest
        where turf is sold ``by_length``."""
        if self.price.dimension == (2, 0, 0):
            return self.price.per_si() * self.roll_width_m * length_m
        if self.price.dimension == (1, 0, 0):
            return self.price.per_si() * length_m
        return float(self.price.amount) * (length_m / self.roll_lengths[0] if by_length else 1.0)


class RollSize(Rules):
    """A further stocked width, with its own lengths and price."""

    roll_width_m: Length = rule(..., "width of a roll, selvage included", most=_WIDEST, source="")
    roll_lengths: Annotated[tuple[float, ...], BeforeValidator(_lengths)] = rule(
        ..., "stocked roll lengths; one or a list", least=_SHORTEST, most=_LONGEST, source=""
    )
    price: Price

    @model_validator(mode="after")
    def _exists(self) -> RollSize:
        _assert_sold(self)
        return self


class Product(Rules):
    """A turf."""

    title: str = rule("Synthetic turf, 60 oz/yd^2", "what a client reads on the bid")
    pile_weight_kg_per_m2: ArealMass = rule(
        "60 oz/yd^2", "pile (face) weight", low="40 oz/yd^2", high="100 oz/yd^2", source=COMMON
    )
    backing_weight_kg_per_m2: ArealMass = rule(
        "30 oz/yd^2",
        "backing and coating, which with the pile make what a crew lifts",
        low="20 oz/yd^2",
        high="40 oz/yd^2",
        source=f"{COMMON}, from memory",
    )
    total_weight_kg_per_m2: ArealMass | None = rule(
        None, "pile, backing and coating; pile_weight + backing_weight if not given", source=COMMON
    )
    pile_height_m: Length = rule(
        "1.75 in", "pile height", low="0.3 in", high="2.5 in", source=COMMON
    )
    roll_width_m: Length = rule(
        "15 ft",
        "width of a roll, selvage included",
        low="6 ft",
        high="15 ft",
        most=_WIDEST,
        source=COMMON,
    )
    roll_lengths: Annotated[tuple[float, ...], BeforeValidator(_lengths)] = rule(
        "100 ft",
        "stocked roll lengths; one or a list",
        least=_SHORTEST,
        most=_LONGEST,
        source=COMMON,
    )
    more_rolls: tuple[RollSize, ...] = rule(
        (), "further stocked widths: a list of tables with roll_width, roll_lengths, price"
    )
    sold_by: Literal["length", "roll"] = rule(
        "length", "by whole stocked rolls, or by a length off a roll"
    )
    price: Price = rule("2.10 USD/ft^2", "cost of the turf, per area of roll")
    breaks: tuple[Break, ...] = rule(
        (), "price by what a phase orders of this width: a list of tables with at_least and price"
    )
    dye_lot_m: Length | None = rule(
        None,
        "roll length that one dye lot holds; a phase that needs more is parted by sites and views",
        source=ASSUMED,
    )
    least_order_m: Length | None = rule(
        None, "least roll length that is sold in an order; none if not given", source=ASSUMED
    )
    least_charge: Price | None = rule(
        None, "the least that a phase's order of this turf is charged; none if not given"
    )
    fixing: Literal["nail", "glue"] = rule(
        "nail", "nailed to the base, or glued (on paving and decks)", source=COMMON
    )
    infill: Literal["rate", "none", "granules"] = rule(
        "rate", "filled by the rate for its pile weight, so with granules for pets, or not at all"
    )
    infill_rate_kg_per_m2: ArealMass | None = rule(
        None, "infill of this turf; [materials] infill_rate, or by pile weight, if not given"
    )
    dig_depth_m: Length | None = rule(
        None,
        "dug out under this turf; [materials] dig_depth if not given",
        low="3 in",
        high="12 in",
    )
    base_depth_m: Length | None = rule(
        None, "base under this turf; [materials] base_depth if not given", low="3 in", high="12 in"
    )
    pad: bool = rule(False, "a pad lies under it, as under play equipment")
    putting: bool = rule(
        False, "a short putting pile (takes 1 to 2 lb/ft^2 of infill)", source=COMMON
    )
    pets: bool = rule(False, "gets odour-control granules under it", source=COMMON)

    @property
    def widths(self) -> tuple[StockedWidth, ...]:
        """Every stocked width, the product's own first."""
        sizes: tuple[Product | RollSize, ...] = (self, *self.more_rolls)
        return tuple(
            StockedWidth(size.roll_width_m, size.roll_lengths, size.price) for size in sizes
        )

    def weight_kg_per_m2(self) -> float:
        """What a crew lifts."""
        if self.total_weight_kg_per_m2 is not None:
            return self.total_weight_kg_per_m2
        return self.pile_weight_kg_per_m2 + self.backing_weight_kg_per_m2

    @model_validator(mode="after")
    def _breaks_fit(self) -> Product:
        if fault := unfit_breaks(self.breaks, self.price):
            raise ValueError(f"breaks: {fault}")
        return self

    @model_validator(mode="after")
    def _least_is_an_amount(self) -> Product:
        if self.least_charge is not None and (fault := unfit_amount(self.least_charge)):
            raise ValueError(f"least_charge: {fault}")
        return self

    @model_validator(mode="after")
    def _rolls_exist(self) -> Product:
        _assert_sold(self)
        if (
            self.total_weight_kg_per_m2 is not None
            and self.total_weight_kg_per_m2 < self.pile_weight_kg_per_m2
        ):
            raise ValueError("total_weight must not be less than pile_weight, which is part of it")
        longest = max(length for size in self.widths for length in size.roll_lengths)
        if self.dye_lot_m is not None and self.dye_lot_m < longest:
            raise ValueError("dye_lot must not be less than the longest roll")
        widths = sorted(size.roll_width_m for size in self.widths)
        if any(b - a < _ALIKE_M for a, b in pairwise(widths)):
            raise ValueError(
                "more_rolls has a roll_width twice; give all lengths of a width in one list of "
                "roll_lengths"
            )
        return self
