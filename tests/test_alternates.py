"""Alternates, and every lot bought alone: each printed figure against the bid run in earnest with
that change made."""

import csv
from decimal import Decimal

import geopandas
import pytest
from shapely.geometry import box

import geoturf
from geoturf import edges, layout, pipeline
from geoturf.bid import choices, lot_by_lot, make_bid
from geoturf.errors import BidError, InputError
from geoturf.model import Finding

PRODUCTS = {
    "thick": {"pile_weight": "80 oz/yd^2", "price": "2.60 USD/ft^2"},
    "thin": {"pile_weight": "60 oz/yd^2", "price": "2.05 USD/ft^2"},
    "narrow": {"roll_width": "12 ft", "price": "1.80 USD/ft^2"},
}
# four lots in two phases: front yards of thick turf, back yards of thin, one of them for dogs
YARDS = [
    (site, area, phase, use, x, y, width, depth)
    for k, (site, phase, use) in enumerate(
        [("A", "1", ""), ("B", "1", "pet"), ("C", "1", ""), ("D", "2", "")]
    )
    for area, x, y, width, depth in (
        ("front", 40 * k, 0, 23 + k, 9),
        ("back", 40 * k, 40, 31 - 2 * k, 17 + k),
    )
]
ALTERNATES = [
    {"title": "thin in front too", "products": {"thick": "thin"}},
    {"title": "turf changed about", "products": {"thick": "thin", "thin": "thick"}},
    {"title": "narrow rolls", "products": {"thin": "narrow"}},
    {"title": "others fill", "leave_out": ["infill"]},
    {"title": "no weed fabric", "leave_out": ["fabric"]},
    {"title": "edged", "add": ["edging"]},
    {"title": "on a separation fabric", "add": ["geotextile"]},
    {"title": "stone found", "costs": {"aggregate": "20 USD/ton"}},
    {"title": "dear tape", "costs": {"tape": "400 USD/roll", "labour": "30 USD/h"}},
]
#: any rule, as the bid would write it
CHANGES = [
    {"title": "deep base", "change": {"materials": {"base_depth": "6 in"}}},
    {"title": "nailed seams", "change": {"edges": {"seam_method": "nails"}}},
    {"title": "thin unfilled", "change": {"products": {"thin": {"infill": "none"}}}},
    {"title": "no tax, dear tape", "change": {"price": {"sales_tax": "0 %", "costs": {"tape": "400 USD/roll"}}}},
    {"title": "front only", "change": {"layers": [{"path": "yards0.gpkg", "where": {"area": "front"}}]}},
    {"title": "in one pool each", "change": {"cuts": {"pool": "site"}, "materials": {"pool": "site"}}},
]  # fmt: skip
FOOT = 0.3048


def bid(folder, swap=None, alternates=(), products=PRODUCTS, layer=None, **tables):
    """The yards as a file, with turf as swapped, and their bid."""
    swap = swap or {}
    laid = ["thick" if yard[1] == "front" else "thin" for yard in YARDS]
    columns = dict(
        zip(
            ("site", "area", "phase", "use"),
            zip(*(yard[:4] for yard in YARDS), strict=True),
            strict=True,
        )
    )
    shapes = [box(x * FOOT, y * FOOT, (x + w) * FOOT, (y + d) * FOOT) for *_, x, y, w, d in YARDS]
    shapes = [
        box(*(a + b for a, b in zip(s.bounds, (250_000, 4_070_000) * 2, strict=True)))
        for s in shapes
    ]
    table = geopandas.GeoDataFrame(
        columns | {"product": [swap.get(n, n) for n in laid]}, geometry=shapes, crs="EPSG:26911"
    )
    name = f"yards{len(list(folder.glob('*.gpkg')))}.gpkg"
    table.to_file(folder / name, engine="pyogrio")
    price = {"alternates": list(alternates)} | tables.pop("price", {})
    layers = [{"path": name, "role": "turf"} | (layer or {})]
    return make_bid(
        {"layers": layers, "folder": str(folder), "products": products, "price": price} | tables
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("yards")


@pytest.fixture(scope="module")
def told(folder):
    """One bid with every alternate."""
    return geoturf.run(bid(folder, alternates=ALTERNATES))


IN_EARNEST = {
    "thin in front too": {"swap": {"thick": "thin"}},
    "turf changed about": {"swap": {"thick": "thin", "thin": "thick"}},
    "narrow rolls": {"swap": {"thin": "narrow"}},
    "others fill": {"products": {name: one | {"infill": "none"} for name, one in PRODUCTS.items()}},
    "no weed fabric": {"materials": {"fabric": False}},
    "edged": {"edges": {"edging_on": ["open"]}},
    "on a separation fabric": {"materials": {"fabric_below_base": True}},
    "stone found": {"price": {"costs": {"aggregate": "20 USD/ton"}}},
    "dear tape": {"price": {"costs": {"tape": "400 USD/roll", "labour": "30 USD/h"}}},
}


@pytest.mark.parametrize("title", IN_EARNEST)
def test_an_alternate_is_the_bid_run_so(folder, told, title):
    """Run in earnest with the change made by other keys of the bid or in the layer, to the cent."""
    row = told.price.alternates.set_index("alternate").loc[title]
    earnest = geoturf.run(bid(folder, **IN_EARNEST[title])).price.totals["price"]
    assert row["price"] == earnest
    assert row["difference"] == earnest - told.price.totals["price"] != 0


SO_CHANGED = {
    "deep base": {"materials": {"base_depth": "6 in"}},
    "nailed seams": {"edges": {"seam_method": "nails"}},
    "thin unfilled": {"products": PRODUCTS | {"thin": PRODUCTS["thin"] | {"infill": "none"}}},
    "no tax, dear tape": {"price": {"sales_tax": "0 %", "costs": {"tape": "400 USD/roll"}}},
    "front only": {"layer": {"where": {"area": "front"}}},
    "in one pool each": {"cuts": {"pool": "site"}, "materials": {"pool": "site"}},
}


@pytest.fixture(scope="module")
def changed(tmp_path_factory):
    folder = tmp_path_factory.mktemp("changed")  # so that the first layer is yards0.gpkg
    return folder, geoturf.run(bid(folder, alternates=CHANGES))


@pytest.mark.parametrize("title", SO_CHANGED)
def test_any_rule_may_be_changed(changed, title):
    folder, told = changed
    row = told.price.alternates.set_index("alternate").loc[title]
    earnest = geoturf.run(bid(folder, **SO_CHANGED[title])).price.totals["price"]
    assert row["price"] == earnest != told.price.totals["price"]


COMBINED = [
    *(ALTERNATES[k] for k in (0, 5, 7)),
    {"title": "no tax", "change": {"price": {"sales_tax": "0 %"}}},
]
TOGETHER = {
    "thin in front too + edged": {"swap": {"thick": "thin"}, "edges": {"edging_on": ["open"]}},
    "edged + stone found + no tax": {
        "edges": {"edging_on": ["open"]},
        "price": {"costs": {"aggregate": "20 USD/ton"}, "sales_tax": "0 %"},
    },
}


@pytest.fixture(scope="module")
def combined(folder):
    return geoturf.run(bid(folder, alternates=COMBINED, price={"combine": "all"}))


@pytest.mark.parametrize("title", TOGETHER)
def test_a_combination_is_the_bid_run_so(folder, combined, title):
    row = combined.price.alternates.set_index("alternate").loc[title]
    assert row["price"] == geoturf.run(bid(folder, **TOGETHER[title])).price.totals["price"]


def test_all_combinations_of_four_are_eleven_more(combined):
    """2^4 - 1 - 4, each once."""
    titles = list(combined.price.alternates["alternate"])
    assert len(titles) == len(set(titles)) == 15
    assert titles[:4] == [one["title"] for one in COMBINED]


def test_what_cannot_stand_together_is_left_out_of_all(folder):
    """The narrow rolls are laid in place of thin turf, or thick turf is: not both."""
    some = [ALTERNATES[1], ALTERNATES[2], ALTERNATES[7]]
    made = bid(folder, alternates=some, price={"combine": "all"})
    assert [one.numbers for one in choices(made.price)] == [(1,), (2,), (3,), (1, 3), (2, 3)]


@pytest.mark.parametrize(
    ("combine", "said"),
    [
        ([[1, 2]], "alternates 1, 2 cannot be accepted together: they differ in products.thin"),
        ([[1, 9]], r"\[1, 9\]: the alternates are numbered 1 to 3"),
        ([[1]], r"\[1\] is no combination of two or more"),
        ([[3, 3]], r"\[3, 3\] is no combination of two or more"),
    ],
)
def test_combinations_that_are_none_are_refused(folder, combine, said):
    some = [ALTERNATES[1], ALTERNATES[2], ALTERNATES[7]]
    with pytest.raises(BidError, match=said):
        bid(folder, alternates=some, price={"combine": combine})


def test_more_than_six_are_not_combined_all(folder):
    with pytest.raises(BidError, match='"all" takes up to 6 alternates, here are 7; list those'):
        bid(folder, alternates=ALTERNATES[:7], price={"combine": "all"})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"materials": {"base_dept": "6 in"}}, "alternate 'x': key 'materials.base_dept' is not "
                                               "known"),
        ({"edges": {"seam_method": "glue"}}, "alternate 'x': edges.seam_method"),
        ({"price": {"costs": {"tape": "9 EUR/roll"}}}, "alternate 'x': price.costs.tape is 9 "
                                                       "EUR/roll"),
        ({"units": "metric"}, "change: 'units' is the same for all alternates; take it out"),
        ({"price": {"combine": "all"}}, "change: 'price.combine' is the same for all alternates"),
    ],
)  # fmt: skip
def test_a_change_that_does_not_fit_is_refused(folder, change, said):
    with pytest.raises(BidError) as refusal:
        bid(folder, alternates=[{"title": "x", "change": change}])
    assert said in str(refusal.value)


def test_a_change_that_leaves_turf_undone_is_refused(folder):
    change = {"materials": {"leave_out": ["tape", "adhesive"]}}
    with pytest.raises(BidError, match="alternate 'x' leaves seams unjoined"):
        pipeline.check(bid(folder, alternates=[{"title": "x", "change": change}]))


def test_what_it_moves_stands_by_phase_line_and_site(folder, told):
    """By hand: edging adds its board, its stakes and the work of setting it, and nothing else; what
    each phase and site gets of that is what they cost in the run in earnest."""
    rows = told.price.changes.query("alternate == 'edged'")
    earnest = geoturf.run(bid(folder, edges={"edging_on": ["open"]})).price
    own = told.price
    for kind, before, after in (
        ("phase", own.phases, earnest.phases),
        ("site", own.sites, earnest.sites),
    ):
        more = dict(zip(f"{kind} " + after[kind], after["price"] - before["price"], strict=True))
        whole = rows[(rows["line"] == "") & rows["scope"].str.startswith(kind)]
        assert dict(zip(whole["scope"], whole["difference"], strict=True)) == more
    lines = rows[rows["scope"].str.startswith("phase") & (rows["line"] != "")]
    named = set(lines["line"]) - {"All other lines, by their shares of the build-up"}
    assert named == {"Edging board", "Edging stakes", "Set edging"}
    boards = lines[lines["line"] == "Edging board"].set_index("scope")["quantity_change"]
    items = earnest.lines[earnest.lines["description"] == "Edging board"]
    assert list(boards) == [str(quantity) for quantity in items["quantity"]]
    assert set(rows["change"]) <= {"add", "deduct"} and rows["change"].iloc[0] == "add"
    others = lines[~lines["line"].isin(named)]["difference"].abs()
    assert (others <= Decimal("0.10")).all()  # rounded shares alone


def test_alternates_leave_the_bid_itself_as_it_is(folder, told):
    alone = geoturf.run(bid(folder))
    assert alone.price.totals == told.price.totals
    assert alone.takeoff.items.equals(told.takeoff.items)
    assert len(alone.price.alternates) == 0


def test_a_swap_pools_with_the_turf_that_is_there(told, folder):
    """Front and back in one pool buy less than as two products of the same figures."""
    apart = geoturf.run(bid(folder, products=PRODUCTS | {"thick": PRODUCTS["thin"]})).price.totals[
        "price"
    ]
    assert told.price.alternates["price"][0] < apart


def test_what_an_alternate_does_not_touch_is_not_done_again(folder, monkeypatch):
    """Laid and cut twice: for the bid, and for every lot alone. Stone and infill change neither."""
    calls = []

    def counted(room, name, work):
        monkeypatch.setattr(room, name, lambda *given: (calls.append(name), work(*given))[1])

    counted(pipeline.layout, "lay", pipeline.layout.lay)
    counted(pipeline.cuts, "plan", pipeline.cuts.plan)
    counted(pipeline.layout, "bounds", pipeline.layout.bounds)
    counted(edges, "classify", edges.classify)
    some = [one for one in ALTERNATES if one["title"] in ("stone found", "others fill")]
    geoturf.run(bid(folder, alternates=some))
    assert sorted(calls) == ["bounds", "classify", "lay", "lay", "plan", "plan"]


# ---------------------------------------------------------------------------------- every lot alone


def test_bought_alone_is_the_bid_run_with_sites_as_pools(folder, told):
    alone = geoturf.run(bid(folder, cuts={"pool": "site"}, materials={"pool": "site"}))
    assert told.price.lot_by_lot == alone.price.totals["price"] > told.price.totals["price"]
    assert alone.price.lot_by_lot == alone.price.totals["price"]

    def turf(result, kind, column):
        rows = result.takeoff.items.query("key == 'turf' and scope_kind == @kind")
        return (rows[column] * rows["order_size"]).groupby([rows["phase"], rows["product"]]).sum()

    assert turf(told, "pool", "order_by_site").to_dict() == pytest.approx(
        turf(alone, "pool", "order").to_dict()
    )
    assert turf(told, "site", "order").sum() == pytest.approx(alone.plan.pools["bought_m2"].sum())


def test_a_lots_own_turf_is_that_of_its_own_bid(folder, told):
    """Lot D is alone in its phase: its row by site is its pool's."""
    rows = told.takeoff.items.query("key == 'turf' and phase == '2'")
    pool, site = (
        rows[rows["scope_kind"] == kind].set_index("product")["order"] for kind in ("pool", "site")
    )
    assert site.to_dict() == pool.to_dict() and len(pool) == 2


@pytest.mark.parametrize(
    ("pools", "runs"),
    [
        ({"cuts": {"pool": "site"}, "materials": {"pool": "site"}}, 1),
        ({"cuts": {"pool": "site"}}, 2),  # packages are shared
        ({"cuts": {"pool": "area"}, "materials": {"pool": "site"}}, 2),  # a lot's areas share none
        ({"cuts": {"cutting": "site"}, "layer": {"where": {"site": "A"}}}, 2),  # rolls are carried
        ({"layer": {"where": {"site": "A"}}}, 1),
    ],
)
def test_lots_that_share_nothing_are_bought_alone_as_they_are(folder, monkeypatch, pools, runs):
    """Without another run, for what the run in earnest comes to with sites as pools and packages;
    so few pieces are cut no worse quickly."""
    planned = []
    plan = pipeline.cuts.plan
    monkeypatch.setattr(pipeline.cuts, "plan", lambda *of: (planned.append(1), plan(*of))[1])
    result = geoturf.run(bid(folder, **pools))
    assert len(planned) == runs
    alone = geoturf.run(lot_by_lot(result.bid))
    assert result.price.lot_by_lot == alone.price.totals["price"]
    bought = [
        (rows["order"] * rows["order_size"]).sum()
        for rows in (
            result.takeoff.items.query("key == 'turf' and scope_kind == 'site'"),
            alone.takeoff.items.query("key == 'turf' and scope_kind == 'pool'"),
        )
    ]
    assert bought[0] == pytest.approx(bought[1]) and bought[0] > 0


def test_lot_by_lot_changes_who_shares_and_how_long_is_sought_and_nothing_else(folder):
    asked = bid(folder)
    made = lot_by_lot(asked)
    assert (made.cuts.pool, made.materials.pool) == ("site", "site")
    assert made.cuts.model_copy(update={"pool": "phase", "effort": "normal"}) == asked.cuts
    assert lot_by_lot(bid(folder, cuts={"effort": "thorough"})).cuts.effort == "thorough"
    assert lot_by_lot(made) == made and made.price == asked.price and made.layout == asked.layout


# ---------------------------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("alternate", "said"),
    [
        (
            {"leave_out": ["tape", "adhesive"]},
            "alternate 'x' leaves seams unjoined, without 'tape' and 'adhesive'",
        ),
        (
            {"leave_out": ["odour"]},
            "alternate 'x' leaves 2 pet area(s) without 'odour'; take 'odour' off leave_out",
        ),
        ({"leave_out": ["nails"]}, "alternate 'x' leaves turf unfastened, without 'nails'"),
    ],
)
def test_an_alternate_that_leaves_turf_undone_is_refused_before_anything_is_laid(
    folder, alternate, said
):
    asked = bid(folder, alternates=[{"title": "x"} | alternate])
    with pytest.raises(BidError) as refused:
        pipeline.check(asked)
    assert [f.line() for f in refused.value.findings if said in f.line()] and len(
        refused.value.findings
    ) == 1


def test_the_bid_itself_is_held_to_the_same(folder):
    with pytest.raises(BidError, match=r"\[materials\] leave_out leaves seams unjoined"):
        pipeline.check(bid(folder, materials={"leave_out": ["adhesive"]}))


def test_a_turf_that_is_not_in_the_bid_is_refused(folder):
    with pytest.raises(BidError, match=r"price\.alternates#1.products: 'thn' is not one of"):
        bid(folder, alternates=[{"title": "x", "products": {"thick": "thn"}}])


def test_an_alternate_that_changes_no_turf_is_warned_of(folder):
    _, _, findings = pipeline.check(
        bid(folder, alternates=[{"title": "x", "products": {"narrow": "thin"}}])
    )
    (said,) = [f.message for f in findings if f.code == "idle-alternate"]
    assert said == "alternate 'x': no area is laid with 'narrow', so none changes"


def test_what_is_refused_in_an_alternates_run_names_it(folder, monkeypatch):
    def without_narrow(land, *rest, laid=layout.task_of):
        if "narrow" in set(land.areas["product"]):
            raise InputError(Finding("error", "roll-too-small", "nothing can be cut from it"))
        return laid(land, *rest)

    monkeypatch.setattr(layout, "task_of", without_narrow)
    with pytest.raises(InputError, match="alternate 'x': nothing can be cut from it"):
        geoturf.run(bid(folder, alternates=[{"title": "x", "products": {"thin": "narrow"}}]))


# ---------------------------------------------------------------------------------- what is assumed


def test_assumptions_stand_beside_the_lines_they_are_in(folder, tmp_path):
    given = {"price": {"profit": "8 %", "costs": {"infill": "12 USD/bag", "labour": "100 USD/h"}}}
    done = geoturf.run(bid(folder, materials={"rates": {"turf": "180 ft^2/h"}}, **given))
    geoturf.write(done, tmp_path / "out")
    with (tmp_path / "out" / "bid.csv").open(encoding="utf-8", newline="") as file:
        said = {row["description"]: row["assumed"] for row in csv.DictReader(file)}
    assert (
        said["Infill"] == "" == said["Lay, trim and fit turf"]
    )  # ours: the cost, and cost and rate
    assert said["Profit, 8 % of cost and overhead"] == ""
    assert said["Aggregate base, compacted"] == "unit cost"
    assert said["Join seams"] == "production rate"  # the wage is the bid's
    assert said["Plate compactor"] == "unit cost, production rate"
    assert said["Bond, 1.5 % of cost, overhead and profit"] == "rate"
    notes = {f.code: f.message for f in done.findings if f.code.startswith("assumed-")}
    assert set(notes) == {"assumed-costs", "assumed-rates", "assumed-build-up"}
    assert notes["assumed-build-up"].endswith("[price] contingency, sales_tax, overhead, bond")


def test_a_turf_without_a_price_of_its_own_is_told(folder):
    done = geoturf.run(bid(folder, products={"thick": {}, "thin": {"price": "2 USD/ft^2"}}))
    assert [f.message for f in done.findings if f.code == "assumed-turf"] == [
        "1 turf price(s) are geoturf's own assumptions; give yours in [products] price of thick"
    ]


def test_the_terminal_counts_them_after_the_price(lawns, bid_file, tmp_path, capsys):
    """By hand: of one nailed lawn's figures all are geoturf's own but the two that the bid
    gives."""
    from geoturf.cli import main

    lawns((0, 0, 40, 30))
    given = '[price]\nprofit = "8 %"\n[price.costs]\ninfill = "12 USD/bag"\n'
    assert main(["run", str(bid_file(given)), "--out", str(tmp_path / "out")]) == 0
    lines = capsys.readouterr().out.splitlines()
    (said,) = [k for k, line in enumerate(lines) if "own assumptions" in line]
    assert any(line.startswith("price") for line in lines[:said])
    assert all(
        line.startswith(("audit: ", "report in ", "for the client")) for line in lines[said + 1 :]
    )
    costs = (
        "haul disposal fabric aggregate tape adhesive nails fabric_nails caps labour "
        "excavator "
        "compactor broom spreader"
    )
    rates = "setup dig base fabric turf seam nails infill caps"
    steps = "contingency sales_tax overhead bond"
    count = len(f"{costs} {rates} {steps} turf".split())
    assert lines[said].startswith(
        f"{count} of {count + 2} unit costs and rates are geoturf's own assumptions, give yours: "
    )
    for named in (costs, rates, steps):
        assert ", ".join(named.split()) in lines[said]
    assert "[products] price of turf60" in lines[said]


def test_figures_are_decimals(told):
    assert all(
        isinstance(price, Decimal)
        for price in (*told.price.alternates["price"], told.price.lot_by_lot)
    )
