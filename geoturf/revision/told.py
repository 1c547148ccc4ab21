"""What moved, in few words: for the terminal and the head of the page."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

import pandas as pd

from geoturf.revision.lots import Lots
from geoturf.revision.money import AMOUNT
from geoturf.revision.reports import Report
from geoturf.revision.rows import ADDED, AREA, REMOVED, SITE
from geoturf.units import SHOWN


def told(old: Report, new: Report, lots: Lots, table: pd.DataFrame) -> list[str]:
    """What moved, on a few lines; the amounts by cause add up to the difference."""
    return [
        f"{new.name} against {old.name}",
        price(old, new),
        *_causes(table, new.currency),
        ground(old, new, lots, table),
        *not_priced(old, new),
    ]


def price(old: Report, new: Report) -> str:
    difference = f"{new.price - old.price:+,} {new.currency}"
    return f"price {old.price:,} to {new.price:,} {new.currency}: {difference}"


def _causes(table: pd.DataFrame, currency: str) -> list[str]:
    sums = by_cause(table).items()
    return [f"  {_together(cause)}: {amount:+,} {currency}" for cause, amount in sums]


def _together(causes: str) -> str:
    """Causes that are not told apart are said to be so."""
    if ", " in causes:
        return f"{causes}, together"
    return causes


def by_cause(table: pd.DataFrame) -> Mapping[str, Decimal]:
    """What the lines' amounts moved by, in all and by cause, the most first."""
    sums: dict[str, Decimal] = {}
    amounts = table[table["kind"] == AMOUNT]
    for cause, difference in zip(amounts["why"], amounts["difference"], strict=True):
        sums[cause] = sums.get(cause, Decimal(0)) + Decimal(difference)
    return dict(sorted(sums.items(), key=lambda one: (-abs(one[1]), one[0])))


def ground(old: Report, new: Report, lots: Lots, table: pd.DataFrame) -> str:
    """How many sites and areas came, went and changed, and by how much the ground did."""
    shown = SHOWN["area"][new.units]
    sites, areas = (table.loc[table["kind"] == kind, "why"] for kind in (SITE, AREA))
    reshaped = sum(pair.reshaped for pair in lots.both)
    before, after = (report.areas["ground_area"].sum() for report in (old, new))
    return (
        f"sites: {(sites == ADDED).sum():,} added, {(sites == REMOVED).sum():,} removed; "
        f"areas: {len(lots.come):,} added, {len(lots.gone):,} removed, "
        f"{reshaped:,} of another shape, "
        f"{len(areas) - len(lots.come) - len(lots.gone) - reshaped:,} "
        "otherwise changed; "
        f"ground {round(after - before, shown.decimals) + 0.0:+,.{shown.decimals}f} {shown.unit}"
    )


def not_priced(old: Report, new: Report) -> list[str]:
    """Says of what the difference is not, where a report left something out."""
    if not old.left_out and not new.left_out:
        return []
    said = f"{old.left_out:,} area(s) or file(s) of the old report, {new.left_out:,} of the new one"
    return [f"NOT PRICED, and not compared: {said}"]
