"""Price books: one bid with two books against two bids, to the cent."""

from decimal import Decimal as D

import geopandas
import numpy as np
import pytest
from shapely.geometry import box

import geoturf
from geoturf import tables
from geoturf.bid import make_bid
from geoturf.errors import BidError, InputError

FOOT = 0.3048
# site, phase, book, and feet; phase 1 lies under both books
YARDS = [
    ("A", "1", "NV", 23, 19),
    ("B", "1", "CA", 31, 22),
    ("C", "1", "NV", 40, 16),
    ("D", "2", "CA", 27, 33),
    ("E", "3", "NV", 18, 18),
]
OWN = {"costs": {"labour": "131 USD/h"}, "sales_tax": "7.25 %"}
NEVADA = {
    "costs": {"labour": "96.50 USD/h", "aggregate": "29 USD/ton", "tape": "55 USD/roll"},
    "sales_tax": "8.375 %",
    "profit": "6 %",
    "minimum": "20000 USD",
    "extras": [{"title": "Dust permit", "price": "412.35 USD/site"}],
}
RATES = {"turf": "260 ft^2/h", "setup": "3 h"}
SEAMS = {"seam_cost": "5 USD/ft"}  # else each bid weighs seams at its own prices


def drawn(folder, yards=YARDS, **columns):
    shapes = [
        box(*np.add((40 * k, 0, 40 * k + w * FOOT, d * FOOT), (250_000, 4_070_000) * 2))
        for k, (*_, w, d) in enumerate(yards)
    ]
    table = {name: [yard[at] for yard in yards] for at, name in enumerate(("site", "phase"))}
    table["STATE"] = [yard[2] for yard in yards]
    frame = geopandas.GeoDataFrame(table | columns, geometry=shapes, crs="EPSG:26911")
    frame.to_file(folder / "yards.gpkg", engine="pyogrio")


def bid(folder, layer=None, **tables_):
    layers = [{"path": "yards.gpkg"} | (layer or {})]
    return make_bid({"layers": layers, "folder": str(folder), "layout": SEAMS} | tables_)


def by_state(folder, **more):
    books = {"NV": NEVADA | {"rates": RATES}, "CA": {}}
    return bid(folder, {"columns": {"price_book": "STATE"}}, price=OWN, books=books, **more)


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """One bid under two books, and the two bids."""
    folder = tmp_path_factory.mktemp("books")
    drawn(folder)
    costs = OWN["costs"] | NEVADA["costs"]
    nevada = bid(
        folder,
        {"where": {"STATE": "NV"}},
        price=OWN | NEVADA | {"costs": costs},
        materials={"rates": RATES},
    )
    california = bid(folder, {"where": {"STATE": "CA"}}, price=OWN)
    return [geoturf.run(one) for one in (by_state(folder), nevada, california)]


def test_one_bid_with_two_books_is_two_bids(runs):
    both, *each = runs
    for name, amount in both.price.totals.items():
        assert amount == sum(one.price.totals[name] for one in each), name
    sites = both.price.sites.set_index("site")
    alone = {
        row.site: (row.cost, row.price) for one in each for row in one.price.sites.itertuples()
    }
    assert {name: tuple(row) for name, row in sites.iterrows()} == alone
    phases = dict(zip(both.price.phases["phase"], both.price.phases["price"], strict=True))
    nevada, california = (
        dict(zip(one.price.phases["phase"], one.price.phases["price"], strict=True)) for one in each
    )
    assert phases == {
        "1, NV": nevada["1"],
        "1, CA": california["1"],
        "2": california["2"],
        "3": nevada["3"],
    }
    assert both.price.lot_by_lot == sum(one.price.lot_by_lot for one in each)


def test_each_line_is_its_bid_s_own(runs):
    def lines(result):
        work = result.price.lines[result.price.lines["kind"] != "general"]
        told = zip(
            work["phase"], work["description"], work["quantity"], work["amount"], strict=True
        )
        return {(phase.partition(",")[0], *rest) for phase, *rest in told}

    both, *each = (lines(one) for one in runs)
    assert both == set().union(*each)


def test_books_are_told(runs):
    made = tables.tables(runs[0])
    assert list(made["areas"]["price_book"]) == ["NV", "CA", "NV", "CA", "NV"]
    assert list(made["build_up"]["book"].unique()) == ["NV", "CA"]
    assert "Profit, 6 % of cost and overhead (price book NV)" in set(made["bid"]["description"])
    labour = made["bid"][made["bid"]["description"] == "Set up and clear away"]
    assumed = dict(zip(labour["phase"], labour["assumed"], strict=True))
    assert assumed == {"1, NV": "", "3": "", "1, CA": "production rate", "2": "production rate"}
    assert "book" not in tables.tables(runs[1])["build_up"]


@pytest.mark.parametrize(("own", "times"), [({}, 2), ({"extras": []}, 1)], ids=["lent", "none"])
def test_a_lump_sum_in_every_book_is_told(tmp_path, own, times):
    """As two bids each bear it; a book with extras of its own, or none, does not."""
    drawn(tmp_path)
    price = OWN | {"extras": [{"title": "Yard", "price": "1000 USD"}]}
    layer = {"columns": {"price_book": "STATE"}}
    made = geoturf.run(bid(tmp_path, layer, price=price, books={"NV": own, "CA": {}}))
    lumps = made.price.lines[made.price.lines["description"] == "Yard"]
    assert lumps["amount"].sum() == 1000 * times
    told = [one.message for one in made.findings if one.code == "lump-by-book"]
    assert len(told) == times - 1 and all("1,000.00 more than once" in one for one in told)


def test_a_layer_names_its_book(tmp_path):
    drawn(tmp_path, YARDS[:1])
    named = geoturf.run(bid(tmp_path, {"price_book": "NV"}, price=OWN, books={"NV": NEVADA}))
    costs = OWN["costs"] | NEVADA["costs"]
    own = geoturf.run(bid(tmp_path, price=OWN | NEVADA | {"costs": costs}))
    assert named.price.totals == own.price.totals


def test_a_column_of_that_name_says_nothing_without_books(tmp_path):
    drawn(tmp_path, YARDS[:1], price_book="12")
    assert set(geoturf.run(bid(tmp_path)).price.build_up["book"]) == {""}


def test_an_alternate_s_costs_hold_under_every_book(tmp_path):
    drawn(tmp_path, YARDS[:2])
    stone = {"title": "stone found", "costs": {"aggregate": "3 USD/ton"}}
    asked = geoturf.run(by_state_with(tmp_path, [stone]))
    cheap = NEVADA | {"costs": NEVADA["costs"] | stone["costs"]}
    own = OWN | {"costs": OWN["costs"] | stone["costs"]}
    made = geoturf.run(
        bid(
            tmp_path,
            {"columns": {"price_book": "STATE"}},
            price=own,
            books={"NV": cheap, "CA": {}},
        )
    )
    assert asked.price.alternates["price"].tolist() == [made.price.totals["price"]]


def by_state_with(folder, alternates):
    layer = {"columns": {"price_book": "STATE"}}
    price = OWN | {"alternates": alternates}
    return bid(folder, layer, price=price, books={"NV": NEVADA, "CA": {}})


def refused(bid_):
    with pytest.raises(InputError) as refusal:
        geoturf.run(bid_)
    return [finding.message for finding in refusal.value.findings]


def test_a_site_under_two_books_is_refused(tmp_path):
    yards = [("A", "1", "NV", 20, 20), ("A", "1", "CA", 20, 20)]
    drawn(tmp_path, yards, area=["front", "back"])
    said = refused(by_state(tmp_path))
    assert said == ["site A is under two price books (NV, CA): give all its areas one"]


def test_an_unknown_book_is_refused(tmp_path):
    drawn(tmp_path, [("A", "1", "NW", 20, 20)])
    (said,) = refused(by_state(tmp_path))
    assert said == (
        "price book 'NW' is not one of [books] (did you mean 'NV'?); the bid has NV, CA; "
        "an empty [books.NW] takes the bid's own prices"
    )


@pytest.mark.parametrize(
    ("book", "said"),
    [
        ({"costs": {"stone": "1 USD/ton"}}, "'stone' is no unit cost"),
        ({"costs": {"tape": "1 USD/ton"}}, "costs.tape: '1 USD/ton' does not fit"),
        ({"rates": {"dig": "5 ft/h"}}, "rates: dig: "),
        ({"rates": {"digging": "5 yd^3/h"}}, "rates: digging: "),
        ({"minimum": "100 EUR"}, "books.NV.minimum is 100 EUR, but the bid's currency is USD"),
    ],
)
def test_what_a_book_cannot_hold_is_refused(book, said):
    with pytest.raises(BidError, match="books") as refusal:
        make_bid({"layers": [{"path": "a.gpkg"}], "books": {"NV": book}})
    assert said in str(refusal.value)


def test_a_layer_s_book_must_be_there():
    with pytest.raises(BidError, match="'NW' is not one of \\[books\\] \\(did you mean 'NV'"):
        make_bid({"layers": [{"path": "a.gpkg", "price_book": "NW"}], "books": {"NV": {}}})


def test_prices_add_up_by_scope_under_books(runs):
    table = runs[0].price.schedule_of_prices
    sums = {scope: sum(rows, D(0)) for scope, rows in table.groupby("scope")["extension"]}
    assert sums["bid"] == runs[0].price.totals["price"]
    assert sums["phase 1, NV"] + sums["phase 3"] == runs[1].price.totals["price"]


def test_ranges_move_what_each_book_leaves_to_the_bid(tmp_path):
    """A range's ends, beside runs with the figure there: Nevada has its own labour and hours to lay
    turf, so those of the bid move California alone; infill is the bid's under both."""
    drawn(tmp_path)
    ranges = {
        "costs": {"labour": ["120 USD/h", "150 USD/h"], "infill": ["10 USD/bag", "14.10 USD/bag"]},
        "rates": {"turf": ["150 ft^2/h", "260 ft^2/h"]},
        "draws": 100,
    }
    books = {"NV": NEVADA | {"rates": RATES}, "CA": {}}

    def run(costs, rates, **more):
        price = OWN | {"costs": OWN["costs"] | costs}
        layer = {"columns": {"price_book": "STATE"}}
        tables_ = {"price": price, "materials": {"rates": rates}, "books": books}
        return geoturf.run(bid(tmp_path, layer, **tables_, **more))

    plain = run({}, {}, ranges=ranges)
    moves = plain.risk.moves.set_index("figure")
    ends = {
        "labour": run({"labour": "150 USD/h"}, {}),
        "infill": run({"infill": "14.10 USD/bag"}, {}),
        "turf": run({}, {"turf": "260 ft^2/h"}),
    }
    for figure, there in ends.items():
        assert D(f"{moves.loc[figure, 'price_high']:.2f}") == there.price.totals["price"], figure
        assert there.price.totals["price"] != plain.price.totals["price"]
