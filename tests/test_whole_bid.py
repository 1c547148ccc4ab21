"""The bid that has all that a price may have, tests/data/whole_bid.toml: what it holds. (It takes
as long as the demo; DEVELOPERS.md says what a run of it takes and what its workbook stands.)"""

import csv
from pathlib import Path

import geopandas
import shapely

import geoturf
from geoturf import pipeline
from geoturf.cli import DONE, main

BID = Path(__file__).parent / "data" / "whole_bid.toml"


def test_it_has_all_that_it_says():
    bid = geoturf.read_bid(BID)
    lumps = [one for one in bid.price.extras if one.price.unit == "each"]
    assert len(lumps) == 12 and len(bid.price.alternates) == 4 and len(bid.price.combine) == 2
    assert bid.ranges.any_given() and len(bid.terms.phases) == 3
    assert bid.price.escalation.starts and bid.price.breaks and bid.price.least and bid.price.hire


def test_it_lies_under_two_books_in_three_phases():
    _, land, findings = pipeline.check(geoturf.read_bid(BID))
    areas = land.areas
    assert dict(zip(areas["phase"], areas["price_book"], strict=True)) == {
        "1": "",
        "2": "",
        "3": "north",
    }
    assert not [one for one in findings if one.severity in ("error", "warning")]


ORDERED = """
[[layers]]
path = "fences.gpkg"
role = "fence"
[edges]
edging_on = ["open", "fence"]
[price.breaks]
aggregate = [{ at_least = 20, price = "34 USD/ton" }]
[price.least]
haul = "2000 USD"
[price.hire]
compactor = "80 USD/week"
[products.turf]
title = "Turf"
price = "2.10 USD/ft^2"
least_charge = "5000 USD"
breaks = [{ at_least = 500, price = "1.90 USD/ft^2" }]
"""


def test_what_orders_edges_and_areas_have_of_their_own_is_audited(lawns, bid_file, tmp_path):
    """A run ends with the audit, which reckons breaks, hire, least orders, edgings and depths again
    from the report and the bid: it would refuse what differs. Read back here: what each came to."""
    corners = [(0, 0, 40, 30), (60, 0, 30, 30)]
    path = lawns(*corners, site=["A", "B"], dig_depth_in=[6.0, None], base_depth_in=[None, 5.0])
    table = geopandas.read_file(path)
    west, south, east, _ = table.geometry.iloc[0].bounds
    line = shapely.LineString([(west, south), (east, south)])
    fence = geopandas.GeoDataFrame(geometry=[line], crs=table.crs)
    fence.to_file(tmp_path / "fences.gpkg", engine="pyogrio")
    out = tmp_path / "out"
    assert main(["run", str(bid_file(ORDERED)), "--out", str(out), "--papers", "none"]) == DONE

    def rows(name):
        with (out / name).open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    lines = {row["description"]: row for row in rows("bid.csv")}
    assert lines["Aggregate base, compacted"]["unit_price"] == "34"
    assert lines["Turf"]["unit_price"] == "1.90"
    assert lines["Plate compactor, by the week"]["quantity"] == "1"
    assert float(lines["Least order of 2000 USD: Haul away"]["amount"]) > 0
    short = lines["Least order of 5000 USD: Turf"]
    assert float(short["amount"]) + float(lines["Turf"]["amount"]) == 5000
    assert "Nailer board along fences" in lines and "Edging board" in lines
    areas = rows("areas.csv")
    assert [row["dig_depth_ft"] for row in areas] == ["0.5000", ""]
    assert [round(float(row["edge_fence_ft"])) for row in areas] == [40, 0]


BOOKED = """
[layers.columns]
phase = "PH"
price_book = "HOUSE"
[books.north]
sales_tax = "8.25 %"
[books.north.rates]
dig = "4 yd^3/h"
"""


def test_a_bid_of_two_books_is_audited_but_for_their_hours(lawns, bid_file, tmp_path, capsys):
    """The audit does not know a book's production rates: it leaves hours and machines out, and
    follows all else."""
    lawns((0, 0, 40, 30), (60, 0, 30, 30), site=["A", "B"], PH=["1", "2"], HOUSE=["", "north"])
    out = tmp_path / "out"
    assert main(["run", str(bid_file(BOOKED)), "--out", str(out), "--papers", "none"]) == DONE
    assert "promises agree" in capsys.readouterr().out
    with (out / "materials.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["scope"] for row in rows} == {"bid", "phase 1", "phase 2"}
