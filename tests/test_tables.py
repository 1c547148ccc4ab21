"""The output contract: which columns each table has, in which units, and how a cell is written."""

import csv
import io
import math
import re
import tempfile
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

import geoturf
from geoturf import tables
from geoturf.tables import csv_file
from geoturf.units import FOOT_M, FT2_M2

CONTRACT = {
    "areas": "site, area, phase, product, pile_bearing_deg, slope_pct, elevation_ft, "
    "plan_area_ft2, ground_area_ft2, "
    "surface_area_ft2, area_tolerance_ft2, perimeter_ft, edge_paving_ft, edge_building_ft, "
    "edge_shared_ft, edge_open_ft, "
    "perimeter_fasteners, field_fasteners, seam_fasteners, seam_ft, cross_seams, pieces, "
    "piece_area_ft2, "
    "turf_bought_ft2, waste_pct",
    "sites": "site, phase, areas, ground_area_ft2, surface_area_ft2, perimeter_ft, seam_ft, "
    "pieces, turf_bought_ft2, waste_pct, "
    "cost, price",
    "pieces": "piece, site, area, product, roll, along_ft, across_ft, length_ft, width_ft, "
    "pile_bearing_deg",
    "rolls": "roll, phase, product, width_ft, length_ft, used_ft, pieces, left_over_ft",
    "cut_plan": "phase, product, pieces, rolls, bought_ft2, needed_ft2, bound_ft2, gap_pct, "
    "strip_bound_ft2, cut_bound_ft2, cut_gap_pct, waste_pct, by_hand_ft2, status",
    "materials": "scope, section, item, net_quantity, unit, order_quantity, order_unit, "
    "order_size, basis",
    "bid": "line, section, phase, description, quantity, unit, unit_price, amount",
    "findings": "severity, file, layer, feature, site, area, code, message",
}
WATER = (
    "site, area, conversion, baseline_gal, use_gal, saved_gal, capital, rebate, "
    "payback_years, "
    "npv, cost_per_acre_ft, chosen"
)


@pytest.fixture(scope="module")
def result(lasting):
    shapes = ((0, 0, 40, 30), (40, 0, 21, 30), (200, 0, 33, 8))
    bid = lasting(*shapes, site=["A", "A", "B"], area=["1", "2", "1"])
    return geoturf.run(geoturf.read_bid(bid))


@pytest.mark.parametrize("name", CONTRACT)
def test_columns_of_the_contract_come_first_to_last_in_its_order(result, name):
    wanted, found = CONTRACT[name].split(", "), list(tables.tables(result)[name].columns)
    assert [column for column in found if column in wanted] == wanted


def test_water_has_its_columns(lawns, bid_file):
    lawns((0, 0, 40, 30), cover=["cool_season_lawn"])
    result = geoturf.run(geoturf.read_bid(bid_file('[water.climate]\nplace = "Vacaville"\n')))
    wanted, found = WATER.split(", "), list(tables.tables(result)["water"].columns)
    assert [column for column in found if column in wanted] == wanted


def test_metric_reports_change_suffix_and_value(lawns, bid_file):
    lawns((0, 0, 40, 30))
    bid = geoturf.read_bid(bid_file())
    us, metric = (
        tables.areas(geoturf.run(bid.model_copy(update={"units": system})))
        for system in ("us", "metric")
    )
    assert not [name for name in metric.columns if "ft" in name.split("_")]
    assert us["ground_area_ft2"][0] * FT2_M2 == pytest.approx(metric["ground_area_m2"][0], abs=1e-3)
    assert us["perimeter_ft"][0] * FOOT_M == pytest.approx(metric["perimeter_m"][0], abs=2e-3)


def test_figures_of_three_lawns_by_hand(result):
    areas = tables.areas(result)
    assert areas["ground_area_ft2"].round().tolist() == [1200, 630, 264]
    assert areas["edge_shared_ft"].round(1).tolist() == [
        30,
        30,
        0,
    ]  # the two lawns of site A touch along 30 ft
    assert areas["edge_open_ft"].round(1).tolist() == [110, 72, 82]
    assert (
        areas["perimeter_fasteners"].tolist()[2] == 247
    )  # 82.0 ft of closed run at 4 in, the grid's scale rounds it up from 246
    sites = tables.sites(result)
    assert sites["areas"].tolist() == [2, 1]
    assert sum(map(Decimal, sites["price"])) == result.price.totals["price"]


def test_money_adds_up_in_every_printed_column(result):
    made = tables.tables(result)
    price = result.price.totals["price"]
    for name, column in (
        ("bid", "amount"),
        ("sites", "price"),
        ("schedule", "price"),
        ("phases", "price"),
    ):
        assert sum(map(Decimal, made[name][column])) == price, name


def test_a_step_of_the_price_without_its_column_is_refused(result):
    """Left out in silence, the schedule's rows would add up to less than they say."""
    steps = result.price.schedule.assign(insurance=result.price.schedule["bond"])
    more = replace(result, price=replace(result.price, schedule=steps))
    with pytest.raises(KeyError, match=r"schedule: no record in columns\.csv of insurance"):
        tables.tables(more)


def test_a_csv_is_rfc_4180_and_guards_text_columns_only(tmp_path):
    texts, numbers = ["=1+1", 'say "hi", you', "-4", "0012", "@x"], [-1.5, 2, np.nan, 0, 1]
    table = pd.DataFrame({"site": texts, "change": numbers})
    table.attrs["decimals"] = {"change": 2}
    tables.write_csv(table, tmp_path / "t.csv")
    raw = (tmp_path / "t.csv").read_bytes()
    assert raw.count(b"\r\n") == raw.count(b"\n") == 6
    rows = list(csv.reader((tmp_path / "t.csv").open(newline="", encoding="utf-8")))
    assert [row[0] for row in rows[1:]] == ["'=1+1", 'say "hi", you', "-4", "0012", "'@x"]
    assert [row[1] for row in rows[1:]] == ["-1.50", "2.00", "", "0.00", "1.00"]


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        # OWASP, CSV injection: =, +, -, @, tab and carriage return at the start of a cell;
        # full-width signs, which some programs fold to these; and a separator of the reader's own
        # choice, which starts a cell within ours
        ("=1+1", "'=1+1"),
        ("+1+1", "'+1+1"),
        ("-1+1", "'-1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1+1", "'\t'=1+1"),
        ("\r=1+1", "'\r'=1+1"),
        ("\n=1+1", "'\n'=1+1"),
        ("\tlawn", "'\tlawn"),
        ("\rlawn", "'\rlawn"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("\uff0b1", "'\uff0b1"),
        ("\uff0d1", "'\uff0d1"),
        ("\uff20x", "'\uff20x"),
        ("lot;=1+1", "lot;'=1+1"),
        ("lot; =1+1", "lot;' =1+1"),
        ('lot;"=1+1"', 'lot;\'"=1+1"'),
        ("lot;\uff1d1;@x", "lot;'\uff1d1;'@x"),
        ("lot\t=1+1", "lot\t'=1+1"),
        ("lot\r\n=1+1", "lot\r\n'=1+1"),
        (" =1+1", "' =1+1"),
        ("-inf", "'-inf"),
        # what is no formula stays as it is
        ("lot 7; front", "lot 7; front"),
        ("a=b, c-d", "a=b, c-d"),
        ("-4", "-4"),
        ("-1234.50", "-1234.50"),
        ("+3e5", "+3e5"),
        ("0012", "0012"),
        ("", ""),
    ],
)
def test_text_that_a_spreadsheet_would_calculate_is_guarded(tmp_path, text, cell):
    tables.write_csv(pd.DataFrame({"site": [text]}), tmp_path / "t.csv")
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as file:
        assert list(csv.reader(file))[1:] == ([[cell]] if text else [[""]])


CELLS = st.one_of(st.text(max_size=4), st.sampled_from(["", "a,b", 'so "so"', "-1", "=A1", "a;=b"]))


@given(
    st.lists(st.tuples(CELLS, st.floats(-1e9, 1e9) | st.just(math.nan), st.integers()), max_size=5)
)
def test_a_csv_is_what_the_csv_module_writes_cell_by_cell(rows):
    """Columns are written whole; the standard library's writer does it row by row."""
    table = pd.DataFrame(rows, columns=["words", "feet", "count"]).astype({"words": object})
    table["feet"] = table["feet"].astype(float)
    table.attrs["decimals"] = {"feet": 2}
    wanted = io.StringIO()
    writer = csv.writer(wanted, lineterminator="\r\n")
    writer.writerow(table.columns)
    for words, feet, count in rows:
        writer.writerow([csv_file.as_text(words), "" if math.isnan(feet) else f"{feet:.2f}", count])
    with tempfile.TemporaryDirectory() as folder:
        csv_file.write_csv(table, Path(folder) / "t.csv")
        assert (Path(folder) / "t.csv").read_bytes() == wanted.getvalue().encode()


def test_a_blank_cell_of_a_single_column_is_no_blank_line(tmp_path):
    csv_file.write_csv(pd.DataFrame({"only": ["a", ""]}), tmp_path / "t.csv")
    assert (tmp_path / "t.csv").read_bytes() == b'only\r\na\r\n""\r\n'


def test_our_own_words_need_no_guard(result):
    """A formula in words is none for a spreadsheet, with whatever separator it is opened."""
    for name, table in tables.tables(result).items():
        for column in table.select_dtypes(object):
            assert [csv_file.as_text(text) for text in table[column]] == list(
                map(str, table[column])
            ), (name, column)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@given(text=st.text(st.sampled_from('=+-@\t\r\n;," \uff1d\uff0b\uff0d\uff20a1'), max_size=8))
def test_no_cell_starts_a_formula_whatever_the_separator(text, separator):
    """Read back by Python's own reader with each separator that a spreadsheet may be set to."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.csv"
        tables.write_csv(pd.DataFrame({"site": ["x"], "name": [text]}), path)
        with path.open(newline="", encoding="utf-8") as file:
            cells = [cell for row in csv.reader(file, delimiter=separator) for cell in row]
    starts = [cell.lstrip(' "') for cell in cells]
    assert not [
        s
        for s in starts
        if s.startswith(tuple("=+-@\uff1d\uff0b\uff0d\uff20")) and not re.fullmatch("[+-]1+", s)
    ]


def test_the_geopackage_lies_where_the_input_lay_with_the_ids_of_the_tables(result, tmp_path):
    tables.write(result, tmp_path)
    layers = {
        name: geopandas.read_file(tmp_path / "layout.gpkg", layer=name)
        for name in ("areas", "pieces", "seams", "edges")
    }
    source = geopandas.read_file(Path(result.bid.folder) / "lawns.gpkg")
    assert all(layer.crs == source.crs for layer in layers.values())
    moved = shapely.hausdorff_distance(layers["areas"].geometry.values, source.geometry.values)
    assert moved.max() < 1e-5  # feet
    pieces = pd.read_csv(tmp_path / "pieces.csv")
    assert layers["pieces"]["piece"].tolist() == pieces["piece"].tolist()
    for row in layers["areas"].itertuples():
        mine = layers["pieces"].query("site == @row.site and area == @row.area")
        assert row.geometry.difference(mine.union_all().buffer(1e-4)).area < 1e-3
