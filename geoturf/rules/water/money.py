"""Rules of the price of water."""

from __future__ import annotations

import math

from pydantic import model_validator

from geoturf import units
from geoturf.rules.base import Fraction, Price, Rules, Volume, rule


class Tier(Rules):
    """One block of a tiered price: all water of an account's month above ``above``, up to the next
    block's; a stated ``to`` must meet that."""

    above_m3: Volume
    price: Price
    to_m3: Volume | None = rule(None, "where the block ends, as the tariff says", source="")


class WaterPrice(Rules):
    """Price of water, for each account (a site) and month. Fixed charges stay whatever is
    converted, so they are left out."""

    price: Price = rule(
        "5.00 USD/HCF",
        "price of water, per volume; the first block where there are tiers",
    )
    tiers: tuple[Tier, ...] = rule(
        (),
        'further blocks of a site\'s month: tables with above ("20 HCF") and price ("7.50 USD/HCF")',
    )
    escalation: Fraction = rule("4 %", "yearly rise of the price", low="0 %", high="8 %")

    @model_validator(mode="after")
    def _per_volume(self) -> WaterPrice:
        for price in (self.price, *(tier.price for tier in self.tiers)):
            if price.dimension != (3, 0, 0):
                written = 'which is written like "5.00 USD/HCF"'
                raise ValueError(f"{price} is no price of water, {written}")
        above = [tier.above_m3 for tier in self.tiers]
        if above != sorted(set(above)) or (above and above[0] <= 0):
            raise ValueError("tiers go upwards, each above more than the one before")
        for number, tier in enumerate(self.tiers, 1):
            following = self.tiers[number].above_m3 if number < len(self.tiers) else None
            _refuse_apart(number, tier.to_m3, following)
        return self


_ROUNDED = 1e-5  # ends told in another unit, with some digits


def _refuse_apart(number: int, end_m3: float | None, next_m3: float | None) -> None:
    """Refuses a block whose stated end is not where the next begins."""
    if end_m3 is None or (next_m3 is not None and math.isclose(end_m3, next_m3, rel_tol=_ROUNDED)):
        return
    end = units.US.like(end_m3, "HCF")
    if next_m3 is None:
        raise ValueError(f"tiers: the last ends at {end}; above that no price holds: leave to out")
    what = "no price holds" if next_m3 > end_m3 else "two prices hold"
    ends = f"tier {number} ends at {end}, the next begins above {units.US.like(next_m3, 'HCF')}"
    raise ValueError(f"tiers: {ends}: between them {what}")
