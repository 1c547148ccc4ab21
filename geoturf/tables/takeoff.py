"""Tables of the takeoff, and of when its work is done."""

from __future__ import annotations

import pandas as pd

from geoturf import columns
from geoturf.model import Result
from geoturf.records import Column
from geoturf.rules.items import shown
from geoturf.tables.making import as_it_stands


def materials(result: Result) -> pd.DataFrame:
    """Items by pool, and the bid's total of each."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"].isin(["pool", "bid"])]
    plain = (
        "scope",
        "section",
        "item",
        "unit",
        "order_unit",
        "order_size",
        "order_by_site",
        "net_low",
        "net_high",
        "basis",
    )
    values: dict[str, Column] = {name: items[name] for name in plain}
    values |= {
        "net_quantity": items["net"],
        "allowance_pct": 100 * items["allowance"],
        "order_quantity": items["order"],
    }
    return columns.table_of("materials", result.bid.units, values)


def materials_by_site(result: Result) -> pd.DataFrame:
    """What each site takes, and what it would order alone; turf as cut from rolls of its own. Only
    pools are bought."""
    items = shown(result.takeoff.items, result.bid.units)
    items = items[items["scope_kind"] == "site"]
    values: dict[str, Column] = {
        name: items[name] for name in ("site", "phase", "item", "unit", "order_unit")
    }
    values |= {"net_quantity": items["net"], "order_alone": items["order"]}
    return columns.table_of("materials_by_site", result.bid.units, values)


def calendar(result: Result) -> pd.DataFrame:
    """When each task of each phase is done."""
    rows = result.calendar.rows
    days = rows[["start", "finish"]].map(lambda day: day.isoformat() if day else "")
    return as_it_stands("calendar", result, rows.assign(**days))
