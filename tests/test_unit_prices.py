"""The schedule of prices: quantities from the ground, unit prices that carry every load, scopes
that add up to the cent."""

from decimal import Decimal as D

import geopandas
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lots import LOTS, PRODUCTS, edges, ground, plan
from shapely.geometry import box

import geoturf
from geoturf import materials, tables
from geoturf.bid import make_bid
from geoturf.price import price
from geoturf.rules import EdgeRules, MaterialRules, PriceRules
from geoturf.rules.items import ITEMS

CENT = D("0.01")
EXTRAS = [
    {"title": "Fence", "price": "3.10 USD/yd^2"},
    {"title": "Permit", "price": "250 USD/phase"},
    {"title": "Survey", "price": "99.99 USD/site"},
]


def priced(rows=LOTS, system="us", **rules):
    land = ground(rows)
    laid = plan(land)
    taken = materials.takeoff(land, edges(land), laid, PRODUCTS, MaterialRules(), EdgeRules())
    return land, price(land, laid, taken, PRODUCTS, PriceRules(**rules), "USD", system)


def scopes(found):
    """Sum of the extensions of each scope."""
    table = found.schedule_of_prices
    return {scope: sum(rows, D(0)) for scope, rows in table.groupby("scope")["extension"]}


def of(found, scope="bid"):
    """The rows of a scope, by description."""
    table = found.schedule_of_prices
    return table[table["scope"] == scope].set_index("description")


def test_quantities_are_the_ground_s_not_the_purchase_s():
    """By hand: 15 x 40 ft is 600 ft2, of which 40.5 ft of roll, billed as 41, are bought; 4 in of
    it are 600 x 4 / 12 / 27 = 7.41 yd3; all loads are in, so the rows come to the price."""
    _, found = priced([{"width_ft": 15, "length_ft": 40, "caps": 2.0}])
    rows = of(found)
    told = {name: (row["unit"], row["quantity"]) for name, row in rows.iterrows()}
    assert told == {
        "Set up and clear away": ("site", D("1.00")),
        "Excavate, haul and dispose, in place": ("yd^3", D("7.41")),
        "Aggregate base, placed and compacted": ("ft^2", D("600.00")),
        "Fabric, ground covered by each layer": ("ft^2", D("600.00")),
        "Synthetic turf, 60 oz/yd^2, laid, joined and fastened": ("ft^2", D("600.00")),
        "Infill, spread and broomed": ("ft^2", D("600.00")),
        "Irrigation heads capped, lines rerouted": ("each", D("2.00")),
    }
    assert rows["extension"].sum() == found.totals["price"]
    assert list(rows["item"]) == [str(n) for n in range(1, 8)]


def test_an_item_s_price_is_that_of_its_lines():
    """Another way: what lines of the bid paid under an item come to with their loads, summed."""
    _, found = priced(extras=EXTRAS)
    work = found.lines[found.lines["kind"] != "general"].assign(price=found.loads["price"])
    due = {}
    for line in work.itertuples():
        name = line.description if line.key == "extra" else ITEMS[line.key].pay
        due[name] = due.get(name, D(0)) + line.price
    rows = of(found)["extension"]
    turf = sum((v for name, v in rows.items() if "laid, joined" in name), D(0))
    told = {
        "setup": rows["Set up and clear away"],
        "earth": rows["Excavate, haul and dispose, in place"],
        "odour": rows["Odour-control granules"],
        "turf": turf,
        "Fence": rows["Fence"],
        "Permit": rows["Permit"],
        "Survey": rows["Survey"],
    }
    for name, amount in told.items():  # 5,000 ft2 at 4 decimals: half a step is 25 cents
        assert abs(amount - due[name]) < D("0.60"), name


def test_extras_are_paid_for_by_their_own_units():
    _, found = priced(extras=EXTRAS)
    rows = of(found)
    surface = sum(lot["width_ft"] * lot["length_ft"] for lot in LOTS)
    assert tuple(rows.loc["Fence", ["unit", "quantity"]]) == ("yd^2", D(surface / 9).quantize(CENT))
    assert tuple(rows.loc["Permit", ["unit", "quantity"]]) == ("phase", D("2.00"))
    assert tuple(rows.loc["Survey", ["unit", "quantity"]]) == ("site", D("3.00"))


def test_what_unit_prices_cannot_carry_is_a_line():
    """Cents a ft2 on one lot: the last item carried to is the site's (1), so nothing is left; with
    nothing but turf of 600 ft2, half a cent on each is 3 USD."""
    bare = {
        key: f"0 USD/{unit}" for key, unit in (("labour", "h"), ("infill", "bag"), ("nails", "box"))
    }
    bare |= {"aggregate": "0 USD/ton", "haul": "0 USD/load", "disposal": "0 USD/yd^3"}
    bare |= {"fabric": "0 USD/ft^2", "fabric_nails": "0 USD/box", "caps": "0 USD/cap"}
    bare |= dict.fromkeys(("excavator", "compactor", "broom", "spreader"), "0 USD/day")
    _, found = priced([{"width_ft": 15, "length_ft": 40}], costs=bare, unit_price_decimals=2)
    rows = of(found)
    left = rows.loc["What unit prices cannot carry"]
    whole = found.totals["price"]
    turf = (whole / 600).quantize(CENT) * 600
    assert (left["extension"], left["item"]) == (whole - turf, "")
    assert 0 < abs(left["extension"]) <= 3


def test_what_is_carried_on_leaves_less_than_the_smallest_item_can_tell():
    for decimals in (2, 3, 4):
        _, found = priced(unit_price_decimals=decimals)
        for _, rows in found.schedule_of_prices.groupby("scope"):
            least = rows.loc[rows["item"] != "", "quantity"].min()
            left = rows.loc[rows["item"] == "", "extension"].abs().sum()
            assert left <= least * D(1).scaleb(-decimals) / 2 + CENT


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_every_scope_adds_up_to_its_price(data):
    """Against the prices of its areas, whatever the lots, the rates and the decimals."""
    side = st.integers(3, 90)
    lot = st.fixed_dictionaries(
        {
            "width_ft": side, "length_ft": side, "site": st.sampled_from("abc"),
            "phase": st.sampled_from("12"), "product": st.sampled_from(list(PRODUCTS)),
            "use": st.sampled_from(["", "pet", "play"]), "yard": st.sampled_from(["", "front"]),
        }
    )  # fmt: skip
    rows = data.draw(st.lists(lot, min_size=1, max_size=6))
    system = data.draw(st.sampled_from(["us", "metric"]))
    more = {
        "unit_price_decimals": data.draw(st.integers(2, 6)),
        "profit": f"{data.draw(st.integers(0, 40))} %",
        "minimum": f"{data.draw(st.sampled_from([1, 90000]))} USD",
        "extras": EXTRAS[: data.draw(st.integers(0, 3))],
    }
    land, found = priced(rows, system, **more)
    sums, areas = scopes(found), found.areas["price"].to_numpy()
    assert sums["bid"] == found.totals["price"]
    for kind in ("phase", "product", "use", "yard"):
        named = land.areas[kind].replace("", "not given").to_numpy()
        wanted = {f"{kind} {name}": sum(areas[named == name], D(0)) for name in set(named)}
        if (land.areas[kind] != "").any():
            assert {s: v for s, v in sums.items() if s.startswith(f"{kind} ")} == wanted
    table = found.schedule_of_prices
    assert (table["unit_price"][table["item"] != ""] >= 0).all()
    due = [units_cents(q * p) for q, p in zip(table["quantity"], table["unit_price"], strict=True)]
    assert list(table["extension"]) == due


def units_cents(amount):
    return amount.quantize(CENT, rounding="ROUND_HALF_UP")


def test_metric_bids_are_paid_by_metric_units():
    units = {row["unit"] for _, row in priced(system="metric")[1].schedule_of_prices.iterrows()}
    assert units == {"site", "m3", "m2", "each"}


def test_the_report_has_a_price_for_every_area(tmp_path):
    """A run: areas' prices are their sites', and the table says what its scopes are."""
    shapes = [box(x, 0, x + 9, 12 + k) for k, x in enumerate((0, 40, 80))]
    table = {"site": ["A", "A", "B"], "area": ["f", "b", "f"], "phase": "1", "use": ["", "pet", ""]}
    shapes = [box(*np.add(s.bounds, (250_000, 4_070_000) * 2)) for s in shapes]
    geopandas.GeoDataFrame(table, geometry=shapes, crs="EPSG:26911").to_file(
        tmp_path / "lots.gpkg", engine="pyogrio"
    )
    bid = make_bid({"layers": [{"path": "lots.gpkg"}], "folder": str(tmp_path)})
    made = tables.tables(geoturf.run(bid))
    areas, sites = made["areas"], made["sites"]
    by_site = {site: sum(map(D, rows)) for site, rows in areas.groupby("site")["price"]}
    assert by_site == {site: D(p) for site, p in zip(sites["site"], sites["price"], strict=True)}
    pay = made["schedule_of_prices"]
    assert list(pay.columns) == [
        "item", "section", "description", "unit", "quantity", "unit_price", "extension", "scope",
    ]  # fmt: skip
    assert list(pay["scope"].unique()) == [
        "bid", "phase 1", "product turf60", "use not given", "use pet",
    ]  # fmt: skip


def test_decimals_out_of_range_are_refused():
    with pytest.raises(ValueError, match="unit_price_decimals must be 2 to 6"):
        PriceRules(unit_price_decimals=7)
