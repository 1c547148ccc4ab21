"""Tables of the price: its lines, build-up, schedules, phases, alternates, what a client may
know."""

from __future__ import annotations

import pandas as pd

from geoturf import columns
from geoturf.bid import assumed
from geoturf.by_plan import OF_NONE
from geoturf.model import Result
from geoturf.records import Column
from geoturf.tables.making import as_it_stands, words_of_sites

_PAID = ("description", "quantity", "unit", "unit_price")  # of a pay item


def bid(result: Result) -> pd.DataFrame:
    lines = result.price.lines
    of = zip(lines["key"], lines["product"], lines["book"], strict=True)
    said = [assumed.of_line_in_words(result.bid, *line) for line in of]
    return as_it_stands("bid", result, lines.assign(assumed=said))


def build_up(result: Result) -> pd.DataFrame:
    steps = result.price.build_up
    told = steps.assign(rate_pct=100 * steps["rate"])
    return as_it_stands("build_up", result, told if result.bid.books else told.drop(columns="book"))


def schedule(result: Result) -> pd.DataFrame:
    """Schedule of values: phases by section, with each section's share of the build-up. A step
    without its column here is refused: rows would no longer add up."""
    rows = result.price.schedule
    values = {str(name).replace(" ", "_"): rows[name] for name in rows}
    return columns.table_of("schedule", result.bid.units, values)


def schedule_of_prices(result: Result) -> pd.DataFrame:
    """Pay items of each scope, which adds up to its price."""
    return as_it_stands("schedule_of_prices", result, result.price.schedule_of_prices)


def phases(result: Result) -> pd.DataFrame:
    rows = result.price.phases
    values: dict[str, Column] = {
        name: rows[name] for name in ("phase", "sites", "areas", "cost", "price")
    }
    each = "price_per_ft2" if result.bid.units == "us" else "price_per_m2"
    values |= {"surface_area": rows["surface_area_m2"], "price_per": rows[each]}
    return columns.table_of("phases", result.bid.units, values)


def alternates(result: Result) -> pd.DataFrame:
    """What each alternate adds or deducts: of the bid, its phases, their lines, its sites."""
    changes = result.price.changes
    if changes is None:
        raise ValueError("no alternates are run")
    return as_it_stands("alternates", result, changes)


def prices(result: Result) -> pd.DataFrame:
    """What a client may know: the price by pay item, by phase, by house plan and by site, and what
    each alternate adds."""
    price = result.price
    land = result.ground.areas
    paid = {name: name for name in _PAID}
    ground = {name: land.groupby(name)["ground_area_m2"].sum() for name in ("phase", "site")}
    of_site = words_of_sites(land["site"], land["phase"])
    parts = [
        _prices(
            "item", price.schedule_of_prices.query("scope == 'bid'"), price="extension", **paid
        ),
        _prices("phase", price.phases, phase="phase"),
        *_of_plans(result),
        _prices("site", price.sites, site="site"),
        _prices("alternate", price.alternates, description="alternate", price="difference"),
        pd.DataFrame({"kind": ["price"], "price": [price.totals["price"]]}),
    ]
    rows = pd.concat(parts, ignore_index=True)
    of = {kind: rows[kind].where(rows["kind"] == kind) for kind in ("phase", "site")}
    rows["phase"] = rows["phase"].where(rows["phase"].notna(), rows["site"].map(of_site))
    rows["ground_area"] = of["phase"].map(ground["phase"]).fillna(of["site"].map(ground["site"]))
    rows.loc[rows["kind"] == "price", "ground_area"] = land["ground_area_m2"].sum()
    return as_it_stands("client/prices", result, rows)


def _of_plans(result: Result) -> list[pd.DataFrame]:
    """What a lot of each house plan costs, and all of them."""
    rows = result.by_plan
    if rows is None:
        return []
    told = rows.assign(
        plan=rows["plan"].replace("", OF_NONE),
        unit=["lot" if lots == 1 else "lots" for lots in rows["lots"]],
    )
    named = {
        "description": "plan",
        "quantity": "lots",
        "unit": "unit",
        "unit_price": "price_each",
    }
    return [_prices("plan", told, **named)]


def _prices(kind: str, rows: pd.DataFrame, price: str = "price", **named: str) -> pd.DataFrame:
    """Prices of a ``kind``, ``named`` by columns of ``rows``."""
    columns_ = {to: rows[name].astype(str).to_numpy() for to, name in named.items()}
    made = pd.DataFrame(
        {
            "kind": kind,
            **columns_,
            "price": rows[price].to_numpy(object),
        }
    )
    return made.reindex(columns=["kind", "phase", "site", *_PAID, "price"])
