"""What is ordered: the rolls of the cut plan, weighed again, by dye lot and day."""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import replace

import pypdf
import pytest

import geoturf
from geoturf.papers import order, press

SIX = [(60 * k, 0, 28, 33) for k in range(6)]
SITES = [f"S{k}" for k in range(6)]


@pytest.fixture
def run(lawns, bid_file):
    def run(extra=""):
        lawns(*SIX, site=SITES, phase=list("111122"))
        return geoturf.run(geoturf.read_bid(bid_file(extra)))

    return run


@pytest.fixture(scope="module")
def folder(lasting, tmp_path_factory):
    """A result and its report, of two phases of which one is parted by dye lots."""
    said = (
        '[terms.phases.2]\ndeliver_on = 2026-06-01\n[products.turf60]\ndye_lot = "160 ft"\n'
        '[bidder]\nname = "Fennimarsh"\n'
    )
    bid = lasting(*SIX, extra=said, site=SITES, phase=list("111122"))
    result = geoturf.run(geoturf.read_bid(bid))
    out = tmp_path_factory.mktemp("order") / "out"
    geoturf.write(result, out, readers=["buyer"])
    return result, out


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def printed(result) -> str:
    return text_of(press.printed("order", order.data(result)))


def test_what_is_ordered_is_what_the_rolls_table_buys(folder):
    rows, rolls = (rows_of(folder[1] / name) for name in ("buyer/order.csv", "rolls.csv"))
    ordered = sorted(
        (row["phase"], float(row["length_ft"])) for row in rows for _ in range(int(row["count"]))
    )
    assert ordered == sorted((row["phase"], float(row["length_ft"])) for row in rolls)


def test_weights_are_those_of_pile_and_backing(folder):
    """60 + 30 oz/yd^2, the defaults: 90 / 16 lb a square yard."""
    for row in rows_of(folder[1] / "buyer" / "order.csv"):
        yards = float(row["width_ft"]) * float(row["length_ft"]) * int(row["count"]) / 9
        assert abs(float(row["weight_lb"]) - yards * 90 / 16) <= 0.5


def test_dye_lots_are_numbered_through_and_dated(folder):
    rows = rows_of(folder[1] / "buyer" / "order.csv")
    lots = {row["dye_lot"]: (row["phase"], row["deliver_on"]) for row in rows}
    assert lots == {"1": ("1", ""), "2": ("1", ""), "3": ("2", "2026-06-01")}
    for lot in lots:
        total = sum(float(r["length_ft"]) * int(r["count"]) for r in rows if r["dye_lot"] == lot)
        assert total <= 160


def test_the_paper_tells_what_the_table_tells(folder):
    text = text_of((folder[1] / "buyer" / "order.pdf").read_bytes())
    for row in rows_of(folder[1] / "buyer" / "order.csv"):
        assert f"{row['count']} {float(row['length_ft']):g} ft 15 ft" in text
    assert "phase 2, to be delivered on June 1, 2026" in text and "dye lot holds 160 ft" in text
    for row in rows_of(folder[1] / "materials.csv"):
        if row["scope"] == "bid" and row["item"] in ("Infill", "Turf nails", "Seam tape"):
            assert re.search(rf"{row['item']} .*? {int(row['order_quantity']):,} ", text), row
    assert "crew-hour" not in text and "USD" not in text


def test_trucks_and_pallets_carry_what_they_can(run):
    """Reckoned anew: a truck of 500 lb, and pallets of four bags of 50 lb."""
    result = run('[materials]\ndelivery_truck = "500 lb"\npallet = "200 lb"\n')
    data = order.data(result)
    for _, _, weight, trucks in data["deliveries"]:
        assert int(trucks) == math.ceil(float(weight.split()[0].replace(",", "")) / 500)
    (infill,) = [row for row in data["materials"] if row[0] == "Infill"]
    assert int(infill[-1]) == math.ceil(int(infill[-2]) / 4)


def test_the_least_order_is_told(run):
    result = run('[products.turf60]\nleast_order = "1000 ft"\n')
    bought_m = result.plan.rolls["length_m"].sum()
    more = f"{1000 - bought_m / 0.3048:,.2f}".rstrip("0").rstrip(".")
    assert f"the least order is 1,000 ft, {more} ft more than stands here" in printed(result)


def test_metric_bids_are_told_in_metres(run):
    result = run()
    bid = result.bid.model_copy(update={"units": "metric"})
    text = printed(replace(result, bid=bid))
    assert " kg" in text and "4.572 m" in text and " lb" not in text


@pytest.mark.parametrize("name", ['#import "x"', "$x$ \\ [b] *c*", "</script>", "x" * 500])
def test_names_that_mean_harm_are_text(run, name):
    result = run()
    turf = result.bid.products["turf60"].model_copy(update={"title": name})
    bid = result.bid.model_copy(update={"name": name, "products": {"turf60": turf}})
    squeezed = "".join(printed(replace(result, bid=bid)).replace("\u200b", "").split())
    assert squeezed.count("".join(name.split())) >= 3


def test_the_same_bytes(folder):
    again = press.printed("order", order.data(folder[0]))
    assert again == (folder[1] / "buyer" / "order.pdf").read_bytes()


def test_where_all_turf_is_in_stock_none_is_ordered_and_the_paper_says_so(run, tmp_path):
    stock = '[[cuts.stock]]\nproduct = "turf60"\nwidth = "15 ft"\nlength = "400 ft"\n'
    result = run(2 * stock)
    assert set(result.plan.rolls["source"]) == {"stock"}
    geoturf.write(result, tmp_path / "out", readers=["buyer"])
    assert not (tmp_path / "out" / "buyer" / "order.csv").exists()
    text = text_of((tmp_path / "out" / "buyer" / "order.pdf").read_bytes())
    assert "No turf is ordered: all of it comes from stock." in text and "dye lot" not in text
