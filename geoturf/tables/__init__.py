"""The CSV tables, the GeoPackage and run.json: the output contract, one function a table.

`tables(result)` gives every table as a DataFrame whose numbers are already in the bid's units and
rounded; `write` puts them into a folder.

    lots.py       areas, sites, house plans, what was taken out, water
    turf.py       pieces, rolls, the cut plan, left-overs, the order of work, the order
    takeoff.py    materials, and when their work is done
    money.py      the price: lines, build-up, schedules, phases, alternates, what a client may know
    draws.py      what a bid's ranges do to its price
    about.py      findings, and what each column says
    making.py     what all of them are made by
    in_brief.py   the bid on a few lines
    csv_file.py, geopackage.py, run_file.py   the files
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from geoturf.model import Result
from geoturf.tables.about import columns_of, findings
from geoturf.tables.csv_file import write_csv
from geoturf.tables.draws import risk, risk_moves
from geoturf.tables.geopackage import write_places
from geoturf.tables.in_brief import price_word, summary, turf_sigma
from geoturf.tables.lots import areas, plans, sites, taken, under_turf_m2, water
from geoturf.tables.making import kept, laid, waste_pct
from geoturf.tables.money import (
    alternates,
    bid,
    build_up,
    phases,
    prices,
    schedule,
    schedule_of_prices,
)
from geoturf.tables.run_file import write_run
from geoturf.tables.takeoff import calendar, materials, materials_by_site
from geoturf.tables.turf import cut_plan, left_overs, open_rolls, order, pieces, rolls, work_order

__all__ = [
    "areas",
    "kept",
    "order",
    "price_word",
    "sites",
    "summary",
    "tables",
    "turf_sigma",
    "under_turf_m2",
    "waste_pct",
    "water",
    "work_order",
    "write",
    "write_csv",
    "write_run",
]


def tables(result: Result) -> dict[str, pd.DataFrame]:
    """Every table of the report by file name without ``.csv``."""
    out = dict(_made(result))
    return out | {"columns": columns_of(out, result.bid.units)}


def _made(result: Result) -> Iterator[tuple[str, pd.DataFrame]]:
    """One after another, but for the table of their columns: together they are large."""
    always = (
        areas,
        sites,
        *((pieces, rolls) if laid(result) else ()),
        cut_plan,
        *((left_overs,) if laid(result) else ()),
        materials,
        *((materials_by_site,) if result.each else ()),
        bid,
        build_up,
        schedule,
        schedule_of_prices,
        phases,
        calendar,
    )
    made = [*always, findings]
    made += [work_order] if result.plan.lots is not None and laid(result) else []
    made += [open_rolls] if result.plan.trade is not None else []
    made += [plans] if result.by_plan is not None else []
    made += [alternates] if len(result.price.alternates) else []
    made += [risk, risk_moves] if result.risk is not None else []
    made += [taken] if len(result.ground.taken) else []
    made += [water] if result.water is not None else []
    for table in made:
        yield table.__name__, table(result)
    if result.any_turf:
        yield "client/prices", prices(result)
    if _any_ordered(result):
        yield "buyer/order", order(result)


def _any_ordered(result: Result) -> bool:
    """Nothing is ordered by an estimate, nor where all turf is in stock."""
    bought = result.plan.rolls["source"].eq("bought")
    return result.plan.estimate is None and bool(bought.any())


def write(result: Result, folder: Path) -> None:
    """Every CSV, layout.gpkg and areas.parquet."""
    heads = {}
    for name, table in _made(result):
        (folder / name).parent.mkdir(exist_ok=True)
        write_csv(table, folder / f"{name}.csv")
        heads[name] = table.iloc[:0].copy()
    write_csv(columns_of(heads, result.bid.units), folder / "columns.csv")
    write_places(result, folder)
