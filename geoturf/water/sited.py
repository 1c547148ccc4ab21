"""What holds for a site: the one of several (climates, prices of water, ordinances) that a column
of its areas names."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from geoturf.errors import BidError
from geoturf.model import KEPT, Finding

_BY = ("district", "phase", "site", "price_book")


def column(name: str, known: tuple[str, ...], areas: pd.DataFrame, rule: str) -> str:
    """The column of the areas that a ``rule`` calls by ``name``: one of the ``known``, or of those
    that the bid keeps of the input. Raises `BidError` where there is none."""
    place = name if name in known else KEPT + name
    if place in areas:
        return place
    fault = (
        f"water.{rule}: no area has a column '{name}'; it is one of {', '.join(known)}, or of keep"
    )
    raise BidError(Finding("error", "unknown-column", fault))


def by_site(areas: pd.DataFrame, by: str, known: Iterable[str], table: str) -> pd.Series:
    """Which of those ``known`` in a ``table`` of the bid ("climates" …) the column ``by`` names, by
    site, in order of the sites. Raises `BidError` for a value that the table does not know, and
    for a site under two."""
    one = table.removesuffix("s")
    given = areas[column(by, _BY, areas, f"{one}_by")].fillna("").astype(str)
    pairs = pd.DataFrame({"site": areas["site"], "name": given}).drop_duplicates()
    names = list(known)
    for site, name in zip(pairs["site"], pairs["name"], strict=True):
        if name not in names:
            fault = f"water.{table} has none for {by} '{name}'; it has {', '.join(names)}"
            raise BidError(Finding("error", "none-holds", fault, site=site))
    twice = pairs[pairs["site"].duplicated()]
    if len(twice):
        fault = f"lies under two of water.{table} (by {by}); a site is under one"
        site = str(twice["site"].iloc[0])
        raise BidError(Finding("error", "two-hold", fault, site=site))
    return pairs.set_index("site")["name"]
