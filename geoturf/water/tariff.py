"""What water costs, account by account (a site): one price for all, or several by what a column
says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from geoturf.rules.water import WaterPrice, WaterRules
from geoturf.water.sited import by_site


@dataclass(frozen=True)
class Tariffs:
    """``prices``: those that some account pays. ``of_account``: (accounts,) number of each
    account's; ``account``: (n,) number of each area's."""

    prices: tuple[WaterPrice, ...]
    of_account: np.ndarray
    account: np.ndarray

    @property
    def tiered(self) -> bool:
        return any(price.tiers for price in self.prices)

    def first_per_m3(self) -> np.ndarray:
        """Price of each area's first block, (n,)."""
        first = np.array([price.price.per_si() for price in self.prices])
        of_area: np.ndarray = first[self.of_account[self.account]]
        return of_area

    def bill(self, volume_m3: np.ndarray, factor: float = 1.0) -> np.ndarray:
        """Bills of all accounts, ``volume_m3`` (accounts, ...) a month each."""
        total = np.zeros(volume_m3.shape)
        for number, price in enumerate(self.prices):
            at = self.of_account == number
            total[at] = bill(volume_m3[at], price, factor)
        return total

    def blocks(self) -> tuple[np.ndarray, np.ndarray]:
        """Starts (m3 a month) and prices (per m3) of each account's blocks, (accounts, blocks);
        those of which an account has fewer begin at infinity and cost what its last does."""
        each = [blocks(price) for price in self.prices]
        most = max(len(starts) for starts, _ in each)
        padded = [
            (
                np.pad(starts, (0, most - len(starts)), constant_values=np.inf),
                np.pad(prices, (0, most - len(prices)), mode="edge"),
            )
            for starts, prices in each
        ]
        all_starts, all_prices = (np.stack(part) for part in zip(*padded, strict=True))
        return all_starts[self.of_account], all_prices[self.of_account]

    def rising(self) -> bool:
        """Whether each block costs more than the one before it."""
        return all((np.diff(blocks(price)[1]) > 0).all() for price in self.prices)


def tariffs(areas: pd.DataFrame, rules: WaterRules) -> Tariffs:
    """Raises `BidError` as `sited.by_site`."""
    account = areas.groupby("site", sort=False).ngroup().to_numpy()
    sites = areas["site"].drop_duplicates()
    if not rules.prices:
        return Tariffs((rules.price,), np.zeros(len(sites), int), account)
    names = list(rules.prices)
    named = by_site(areas, rules.price_by, names, "prices").reindex(sites)
    number = np.array([names.index(name) for name in named])
    return Tariffs(tuple(rules.prices.values()), number, account)


def blocks(price: WaterPrice) -> tuple[np.ndarray, np.ndarray]:
    """Starts (m3 a month) and prices (per m3) of the blocks of a price."""
    starts = [tier.above_m3 for tier in price.tiers]
    prices = [tier.price.per_si() for tier in price.tiers]
    return np.array([0.0, *starts]), np.array([price.price.per_si(), *prices])


def bill(volume_m3: np.ndarray, price: WaterPrice, factor: float = 1.0) -> np.ndarray:
    """Bill of an account's month for ``volume_m3`` (any shape), without fixed charges."""
    volume = np.asarray(volume_m3)
    starts, prices = blocks(price)
    widths = np.append(np.diff(starts), np.inf)
    total = np.zeros(volume.shape)
    for start, width, unit_price in zip(starts, widths, prices, strict=True):
        total += unit_price * np.clip(volume - start, 0.0, width)
    return total * factor
