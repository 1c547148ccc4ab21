"""Where each site's net quantities stand on the sheet Net by site, which is written last."""

from __future__ import annotations

import pandas as pd

from geoturf.model import Price
from geoturf.workbook.book import cell

NET_BY_SITE = "Net by site"
#: columns of it: running cost and rest, cost and price, then net quantities
RUNNING = 2
MONEY = 4
TAKES = 6


class Sites:
    """A block a phase: two rows of what a net unit comes to, then a row a site.

    ``columns``: of each name that lines are shared by. ``first``, ``last``: rows of the sites of a
    phase. ``are_pools``: whether packages are rounded up site by site."""

    def __init__(self, price: Price, land: pd.DataFrame, pool: str):
        work = price.lines[price.lines["kind"] != "general"]
        shares = work["share"].drop_duplicates()
        self.columns = {name: place for place, name in enumerate(shares, start=TAKES)}
        self.are_pools = pool == "site"
        self.first: dict[str, int] = {}
        self.last: dict[str, int] = {}
        row = 1
        for phase, sites in land.groupby(land["phase"].astype(str), sort=False)["site"]:
            self.first[str(phase)] = row + 2
            row += 2 + sites.nunique()
            self.last[str(phase)] = row - 1

    def of(self, phase: str, share: str) -> str:
        """The cells of what the sites of a phase take; "" where no line is shared by that."""
        column = self.columns.get(share)
        if column is None:
            return ""
        ends = (
            cell(self.first[phase], column, True, True),
            cell(self.last[phase], column, True, True),
        )
        return f"'{NET_BY_SITE}'!{':'.join(ends)}"
