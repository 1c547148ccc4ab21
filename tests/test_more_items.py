"""Items a bid asks for: drains, sod kill, pads, a loader, granules spread, infill by product. Each
by hand on one lawn of 30 x 40 ft, 1,200 ft2."""

from dataclasses import replace

import pandas as pd
import pytest
from invented_lots import edges, ground, plan

from geoturf import materials, units
from geoturf.price import price
from geoturf.rules import EdgeRules, MaterialRules, PriceRules, Product

FT, LB = 0.3048, units.POUND_KG
LAWN = {"width_ft": 30, "length_ft": 40}


def taken(lawn=None, product=None, **rules):
    land = ground([LAWN | (lawn or {})])
    products = {"turf60": Product(**(product or {}))}
    laid = plan(land)
    rules = MaterialRules(**rules)
    done = materials.takeoff(land, edges(land), laid, products, rules, EdgeRules())
    rows = done.items[done.items["scope_kind"] == "pool"].set_index("key")
    return done, rows, price(land, laid, done, products, PriceRules(), "USD")


def test_drain_lines_and_outlets():
    """A line every 10 ft: 1,200 / 10 = 120 ft, 126 with 5 %, 2 rolls of 100 ft; at 30 ft an hour
    4 hours; one outlet a site. 200 ft at 0.95 and one outlet at 95 are 190 and 95 USD."""
    done, rows, money = taken(drain_spacing="10 ft")
    assert rows.loc["drain", "net"] == pytest.approx(120 * FT)
    assert (rows.loc["drain", "order"], rows.loc["outlets", "order"]) == (2, 1)
    assert rows.loc["labour_drain", "net"] == pytest.approx(4)
    lines = money.lines.set_index("key")["amount"]
    assert (str(lines["drain"]), str(lines["outlets"])) == ("190.00", "95.00")
    assert "a line every 10.0 ft" in rows.loc["drain", "basis"]
    assert any(line.startswith("Drainage:") for line in done.cautions)


def test_no_drain_unless_asked_for():
    _, rows, _ = taken()
    assert not {"drain", "outlets", "labour_drain", "sod_kill", "pad", "loader"} & set(rows.index)


def test_drains_left_to_others_go_whole():
    _, rows, _ = taken(drain_spacing="10 ft", leave_out=["drain"])
    assert not {"drain", "outlets", "labour_drain"} & set(rows.index)


@pytest.mark.parametrize(
    ("cover", "ft2"), [("Cool season turf", 1200), ("bare ground", 0), ("", 0)]
)
def test_sod_is_killed_where_something_lives(cover, ft2):
    done, rows, _ = taken({"cover": cover}, sod_kill=True)
    assert rows["net"].get("sod_kill", 0) == pytest.approx(ft2 * FT**2)
    assert any(line.startswith("Herbicide:") for line in done.cautions) == bool(ft2)


def test_pads_under_turf():
    """1,260 ft2 with 5 %: 5 rolls of 300 ft2; laid in 3 hours; and what a pad is not."""
    done, rows, _ = taken(product={"pad": True})
    assert rows.loc["pad", "order"] == 5 and rows.loc["labour_pad", "net"] == pytest.approx(3)
    assert any("ASTM F1292" in line and line.startswith("Pads:") for line in done.cautions)
    assert not any(line.startswith("Pads:") for line in taken()[0].cautions)


def test_a_loader_runs_while_the_base_is_placed():
    """1,200 ft2 at 250 ft2 an hour: 4.8 hours, a day."""
    _, rows, money = taken(loader=True)
    assert rows.loc["loader", "net"] == pytest.approx(4.8) and rows.loc["loader", "order"] == 1
    assert str(money.lines.set_index("key").loc["loader", "amount"]) == "640.00"


def test_granules_are_spread():
    """1,200 ft2 at 1,500 ft2 an hour; nobody spreads what is left out."""
    assert taken({"use": "pet"})[1].loc["labour_odour", "net"] == pytest.approx(0.8)
    assert "labour_odour" not in taken()[1].index


def test_a_product_has_its_own_infill():
    """2 lb on 1,200 ft2, whatever [materials] says."""
    given = {"infill_rate": "2 lb/ft^2"}
    _, rows, _ = taken(product=given, infill_rate="1 lb/ft^2")
    assert rows.loc["infill", "net"] == pytest.approx(2400 * LB)
    assert taken(infill_rate="1 lb/ft^2")[1].loc["infill", "net"] == pytest.approx(1200 * LB)


def test_they_are_paid_for_by_their_own_units():
    """Pay quantities from the ground: 120 ft of drain, 1,200 ft2 of sod and of pad."""
    _, _, money = taken({"cover": "lawn"}, {"pad": True}, drain_spacing="10 ft", sod_kill=True)
    rows = money.schedule_of_prices.query("scope == 'bid'").set_index("description")
    told = {name: (row["unit"], str(row["quantity"])) for name, row in rows.iterrows()}
    assert told["Drain lines and their outlets"] == ("ft", "120.00")
    assert told["Sod killed before it is taken up"] == ("ft^2", "1200.00")
    assert told["Pad under the turf"] == ("ft^2", "1200.00")


def test_turf_has_its_own_depths():
    """Dug 8 in and filled 6 in in two lifts, beside a lawn of 4 and 4: 1,200 ft2 each take 29.63
    and 14.81 yd3 of digging, 22.22 and 14.81 of stone, and 2,400 + 1,200 ft2 of placing."""
    land = ground([LAWN, LAWN | {"site": "b", "product": "deep"}])
    products = {"turf60": Product(), "deep": Product(dig_depth="8 in", base_depth="6 in")}
    laid = plan(land)
    done = materials.takeoff(land, edges(land), laid, products, MaterialRules(), EdgeRules())
    yd3 = (3 * FT) ** 3
    assert list(done.areas["dig"] / yd3) == pytest.approx([14.815, 29.630], abs=1e-3)
    assert list(done.areas["compacted"] / yd3) == pytest.approx([14.815, 22.222], abs=1e-3)
    assert list(done.areas["labour_base"]) == pytest.approx([4.8, 9.6])
    rows = done.items[done.items["scope_kind"] == "pool"].set_index("key")
    assert "2,400 ft^2 x 6.0 in" in rows.loc["dig", "basis"]  # the mean
    assert "x 5.0 in = 37.0 yd^3 compacted, in 1.5 lift(s)" in rows.loc["aggregate", "basis"]


def test_an_area_has_depths_of_its_own():
    """1,200 ft2 dug 6 in and filled 5 in: 600 and 500 ft3, 22.22 and 18.52 yd3, in two lifts of
    4 in; its turf's own depths and the bid's hold where a layer gives none."""
    inch = 0.0254
    own = {"dig_depth_m": 6 * inch, "base_depth_m": 5 * inch}
    _, rows, _ = taken(own, {"dig_depth": "3 in", "base_depth": "3 in"})
    assert rows.loc["dig", "net"] == pytest.approx(600 * FT**3)
    assert "18.5 yd^3 compacted, in 2 lift(s)" in rows.loc["aggregate", "basis"]
    nothing = {"dig_depth_m": float("nan"), "base_depth_m": float("nan")}
    _, rows, _ = taken(nothing, {"dig_depth": "3 in"})
    assert rows.loc["dig", "net"] == pytest.approx(300 * FT**3)


def test_granules_as_infill_are_trucked():
    """Their weight counts with that of the turf, as bags of infill do."""
    plain, _, _ = taken(product={"infill": "none"})
    filled, rows, _ = taken(product={"infill": "granules"})
    bags_kg = rows.loc["granules", "order"] * rows.loc["granules", "order_size"]
    more = filled.counts["freight_kg"].iloc[0] - plain.counts["freight_kg"].iloc[0]
    assert more == pytest.approx(bags_kg) and bags_kg > 0


def test_granules_as_infill():
    """1.5 lb on 1,200 ft2, 36 bags of 50 lb; spread and broomed as infill is, which there is none
    of."""
    _, rows, money = taken(product={"infill": "granules"})
    assert rows.loc["granules", "net"] == pytest.approx(1800 * LB)
    assert rows.loc["granules", "order"] == 36 and "infill" not in rows.index
    assert rows.loc["labour_infill", "net"] == pytest.approx(1.2)
    assert str(money.lines.set_index("key").loc["granules", "amount"]) == "1116.00"


def test_infill_left_to_others_takes_no_work():
    assert "labour_infill" not in taken(leave_out=["infill"])[1].index


@pytest.mark.parametrize(("irrigation", "heads"), [("spray", 6), ("", 6), ("none", 0)])
def test_heads_by_watered_ground(irrigation, heads):
    """A head a 200 ft2 of 1,200; where the layer counts them, its count."""
    _, rows, _ = taken({"irrigation": irrigation}, cap_covers="200 ft^2")
    assert rows["net"].get("caps", 0) == pytest.approx(heads)
    if heads:
        assert "one a 200 ft2 (18.6 m2) of watered ground" in rows.loc["caps", "basis"]
    assert taken({"caps": 2.0}, cap_covers="200 ft^2")[1].loc["caps", "net"] == 2


def test_edgings_are_bought_by_kind_and_set_together():
    """30 ft along a fence, 40 along a planter, 70 open: with 5 % 31.5 ft are 2 nailers of 16 ft,
    42 are 5 strips of 10 ft, 73.5 are 4 boards of 20 ft; 140 ft at 40 ft an hour are 3.5 hours.
    24 stakes at 3 ft and one more for the boards; strips bring theirs."""
    land = ground([LAWN])
    runs = [("fence", 30), ("planter", 40), ("open", 70)]
    bounds = edges(land)
    table = pd.concat([bounds.runs] * 3, ignore_index=True)
    table["kind"] = [kind for kind, _ in runs]
    table["laid_m"] = [length * FT for _, length in runs]
    edge_rules = EdgeRules(edging_on=["open", "fence", "planter"])
    bounds = replace(bounds, runs=table)
    products = {"turf60": Product()}
    made = (land, bounds, plan(land), products, MaterialRules(), edge_rules)
    items = materials.takeoff(*made).items
    rows = items[items["scope_kind"] == "pool"].set_index("key")
    orders = {key: rows.loc[key, "order"] for key in ("edging", "edging_steel", "edging_nailer")}
    assert orders == {"edging": 4, "edging_steel": 5, "edging_nailer": 2}
    assert rows.loc["labour_edging", "net"] == pytest.approx(3.5)
    assert rows.loc["stakes", "net"] == 25
    assert "edges of kind planter: 40.0 ft" in rows.loc["edging_steel", "basis"]
