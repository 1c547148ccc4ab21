"""Rules of the price of water."""

from __future__ import annotations

from pydantic import model_validator

from geoturf.rules.base import Fraction, Price, Rules, Volume, rule


class Tier(Rules):
    """One block of a tiered price: all water of an account's month above ``above``."""

    above_m3: Volume
    price: Price


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
        return self
