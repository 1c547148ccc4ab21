"""Columns as data: every table is made of records that say what each column is, and no record lies
idle."""

import pandas as pd
import pytest

import geoturf
from geoturf import columns, tables
from geoturf.units import FT2_M2

LAWN = {"site": ["A"], "area": ["back"], "reason": ["house"]}


def test_a_table_is_converted_rounded_and_named_by_its_records():
    us, metric = (
        columns.table_of("taken", system, LAWN | {"taken": [100.0]}) for system in ("us", "metric")
    )
    assert list(us.columns) == ["site", "area", "reason", "taken_ft2"]
    assert (
        str(columns.table_of("taken", "us", LAWN | {"taken": [-1e-9]})["taken_ft2"][0]) == "0.0"
    )  # no minus zero
    assert us["taken_ft2"].tolist() == [round(100 / FT2_M2, 2)]
    assert metric["taken_m2"].tolist() == [100.0] and metric.attrs["decimals"] == {"taken_m2": 3}


def test_a_value_without_a_record_is_refused_and_so_is_a_record_without_a_value():
    with pytest.raises(KeyError, match=r"no record in columns\.csv of depth"):
        columns.table_of("taken", "us", LAWN | {"taken": [1.0], "depth": [1.0]})
    with pytest.raises(KeyError, match="taken"):
        columns.table_of("taken", "us", LAWN)


def test_a_column_that_is_not_always_there_may_be_left_out():
    given = {c.base: [0.0] for c in columns.of("pieces") if not c.when}
    assert "along_right_ft" not in columns.table_of("pieces", "us", given)


@pytest.mark.parametrize(
    "row",
    [
        {"quantity": "weight"},
        {"meaning": ""},
        {"quantity": "number", "decimals": ""},
    ],
)
def test_a_record_that_is_not_whole_is_refused(row):
    whole = {
        "file": "t",
        "column": "c",
        "quantity": "text",
        "unit": "",
        "decimals": "",
        "when": "",
        "meaning": "What.",
    }
    with pytest.raises(ValueError, match=r"t, c"):
        columns._column(whole | row)


def test_every_column_of_a_report_is_told_in_it_and_every_record_is_a_column(lawns, bid_file):
    lawns((0, 0, 40, 30), cover=["cool_season_lawn"], model=["Fir"])
    extra = '[water]\nlay = "all"\n[water.climate]\nplace = "Vacaville"\n'
    extra += '[[price.alternates]]\ntitle = "Board"\nadd = ["edging"]\n'
    extra += '[cuts]\ncutting = "site"\n'
    extra += '[ranges.rates]\ndig = ["4 yd^3/h", "7 yd^3/h"]\n'
    made = tables.tables(geoturf.run(geoturf.read_bid(bid_file(extra))))
    told = made["columns"]
    for name, table in made.items():
        assert told.loc[told["file"] == f"{name}.csv", "column"].tolist() == list(table.columns)
    sometimes = {"taken", "changes"}  # of parcels alone; of a comparison
    assert {column.file for column in columns.every()} == {
        *made,
        *sometimes,
        "layout.gpkg seams",
        "layout.gpkg edges",
    }
    assert told["meaning"].str.len().min() > 3 and pd.unique(told["type"]).tolist()
