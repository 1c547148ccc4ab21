"""The order of work: a short walk or the order given, what lies open meanwhile, few rolls open."""

import itertools

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

import geoturf
from geoturf import read_bid
from geoturf.check import working
from geoturf.cuts import onsite
from geoturf.cuts.market import markets
from geoturf.cuts.planned import Setting, square
from geoturf.cuts.pools import Pool
from geoturf.cuts.walk import walk
from geoturf.cuts.work import standing
from geoturf.engine import Serial
from geoturf.errors import GeoturfError
from geoturf.model import Choices, Ground, Layout
from geoturf.rules import CutRules, LayoutRules, Product
from geoturf.tables import tables
from geoturf.units import FT2_M2, POUND_KG

# twelve lawns of four shapes along a street: lots A to L, each 30 m from the next
SHAPES = ((11, 9.3), (7.7, 13), (9, 8), (12.4, 6.1))
SITES = "ABCDEFGHIJKL"


@pytest.fixture
def street(lawns):
    """Writes the twelve lawns, in an order that is none to walk, with what else is given of
    each."""

    def write(**columns):
        order = sorted(range(12), key=lambda k: (k * 7) % 12)
        boxes = [(30 * k, 0, 30 * k + SHAPES[k % 4][0], SHAPES[k % 4][1]) for k in order]
        named = {name: [values[k] for k in order] for name, values in columns.items()}
        lawns(*boxes, site=[SITES[k] for k in order], **named)

    return write


@pytest.fixture
def cut(bid_file):
    """Runs the street's bid under rules of [cuts]."""

    def run(**rules):
        lines = "".join(f"{key} = {value}\n" for key, value in rules.items())
        return geoturf.run(read_bid(bid_file(f"[cuts]\n{lines}")))

    return run


def test_that_lots_of_a_plan_are_not_laid_alike_on_site_is_said(street, cut):
    street()
    said = [one.code for one in cut(cutting='"site"').findings]
    assert said.count("laid-free") == 1
    assert "laid-free" not in [one.code for one in cut().findings]


def test_lots_of_a_plan_are_laid_alike_on_site_where_the_bid_asks_for_it(lawns, bid_file):
    """The limits are kept, and each of four shapes is cut in one way; the check looks at both."""
    lawns(*((30 * k, 0, *SHAPES[k % 4]) for k in range(12)), site=[*SITES])
    asked = '[cuts]\ncutting = "site"\nopen_rolls = 3\n[layout]\nalike = "plan"\n'
    made = geoturf.run(read_bid(bid_file(asked)))
    codes = [one.code for one in made.findings]
    assert "laid-free" not in codes
    assert "laid-alike" in codes
    sites = made.ground.areas["site"].tolist()
    pieces = made.plan.pieces.groupby("area_index")[["length_m", "width_m"]]
    cut = {sites[row]: sorted(map(tuple, one.round(4).to_numpy())) for row, one in pieces}
    assert all(cut[lot] == cut[SITES[k % 4]] for k, lot in enumerate(SITES))
    assert made.plan.trade["most"].iloc[0] <= 3


# ---------------------------------------------------------------------------- the order


def shortest(place_m):
    """Length of the shortest way through all places, by trying every order."""
    orders = itertools.permutations(range(len(place_m)))
    return min(length(place_m, list(order)) for order in orders)


def length(place_m, order):
    return float(np.hypot(*np.diff(place_m[order], axis=0).T).sum())


def test_a_walk_is_hardly_longer_than_the_shortest_of_all_orders():
    rng, over = np.random.default_rng(1), []
    for _ in range(40):
        place_m = rng.uniform(0, 500, (7, 2))
        order = walk(place_m)
        assert sorted(order) == list(range(7))
        over.append(length(place_m, order) / shortest(place_m) - 1)
    assert max(over) < 0.08 and np.mean(over) < 0.005
    assert min(over) > -1e-4  # ways are counted in millimetres


def test_a_street_is_walked_from_end_to_end(street, cut):
    street()
    order = "".join(cut().plan.lots["site"])
    assert order in (SITES, SITES[::-1])


def test_phases_follow_each_other(street, cut):
    street(phase=["2", "1"] * 6)
    lots = cut().plan.lots
    assert (lots["phase"] != lots["phase"].shift()).sum() == 2
    assert [s for s in SITES if s in set(lots["site"][lots["phase"] == "1"])] == list(SITES[1::2])


def test_a_given_order_is_kept(street, cut):
    numbers = [40, 3, 7, 100, 1, 2, 50, 60, 70, 80, 90, 5.5]
    street(work_order=numbers)
    result = cut()
    assert "".join(result.plan.lots["site"]) == "EFBLCAGHIJKD"
    assert working.as_given(result) == []


@pytest.mark.parametrize(
    ("numbers", "site", "words"),
    [
        ([1, 2, 3, None, 5, 6, 7, 8, 9, 10, 11, 12], "D", "has no number in work_order"),
        (
            [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 2],
            "B",
            "has the number 2 in work_order, as site L has",
        ),
    ],
)
def test_an_order_that_misses_or_repeats_a_lot_is_refused(street, cut, numbers, site, words):
    street(work_order=numbers)
    with pytest.raises(GeoturfError) as refusal:
        cut()
    (finding,) = refusal.value.findings
    assert (finding.site, finding.file) == (site, "lawns.gpkg")
    assert words in finding.message
    assert finding.feature and "\n" not in finding.line()


def test_a_lot_with_two_numbers_is_refused(lawns, cut):
    lawns((0, 0, 9, 9), (20, 0, 29, 9), site=["A", "A"], area=["a", "b"], work_order=[1, 2])
    with pytest.raises(GeoturfError, match="has the numbers 1 and 2 in work_order; give it one"):
        cut()


@pytest.mark.parametrize("rule", ["open_rolls", "rolls_per_lot", "open_rolls_compared"])
def test_no_roll_open_is_refused(bid_file, rule):
    with pytest.raises(GeoturfError, match=f"{rule} must be 1 to 1000"):
        read_bid(bid_file(f"[cuts]\n{rule} = 0\n"))


def test_what_cutting_on_site_cannot_do_is_refused(bid_file):
    with pytest.raises(GeoturfError, match="cuts pieces square"):
        read_bid(bid_file('[cuts]\ncutting = "site"\n[layout]\nnesting = "slanted"\n'))
    stock = 'stock = [{ product = "turf60", width = "3 ft", length = "9 ft" }]'
    with pytest.raises(GeoturfError, match="does not plan with left-overs at hand"):
        read_bid(bid_file(f'[cuts]\ncutting = "site"\n{stock}\n'))


# ---------------------------------------------------------------------------- what lies open


def most_open(rolls):
    """Most rolls open at any time, by opening and finishing them one by one; ``rolls``: the lots
    each serves. By lot."""
    lots = max(max(lots) for lots in rolls) + 1
    opened, most = set(), []
    for lot in range(lots):
        top = len(opened)
        opened = {k for k in opened if max(rolls[k]) > lot}
        for served in rolls:
            if set(served) == {lot}:
                top = max(top, len(opened) + 1)
        opened |= {k for k, served in enumerate(rolls) if min(served) == lot < max(served)}
        most.append(max(top, len(opened)))
    return most


@given(st.lists(st.lists(st.integers(0, 6), min_size=1, max_size=5), min_size=1, max_size=9))
def test_what_is_open_is_what_replaying_the_work_finds(rolls):
    roll = np.repeat(np.arange(len(rolls)), [len(served) for served in rolls])
    lot = np.concatenate(rolls)
    rows = standing(roll, lot, int(lot.max()) + 1)
    assert rows["most"].tolist() == most_open(rolls)
    assert rows["open"].tolist() == (rows["opened"] - rows["finished"]).cumsum().tolist()
    assert rows["open"].iloc[-1] == 0 and rows["opened"].sum() == len(rolls)
    drawn = [sum(k in served for served in rolls) for k in range(len(rows))]
    assert rows["drawn"].tolist() == drawn


def test_the_work_order_says_what_the_pieces_say(street, cut):
    street()
    result = cut()
    made = tables(result)
    pieces, order = made["pieces"], made["work_order"]
    assert order["order"].tolist() == list(range(1, 13))
    by_lot = pieces.groupby("site")["weight_lb"].sum()
    assert order["weight_lb"].to_numpy() == pytest.approx(by_lot[order["site"]], abs=0.1 * 20)
    # 60 + 30 oz/yd2, the product's defaults: 90 / 16 / 9 lb a square foot
    size = pieces["length_ft"] * pieces["width_ft"]
    assert pieces["weight_lb"].to_numpy() == pytest.approx(size * 90 / 16 / 9, abs=0.06)
    rolls = made["rolls"]
    size = rolls["length_ft"] * rolls["width_ft"]
    assert rolls["weight_lb"].to_numpy() == pytest.approx(size * 90 / 16 / 9, abs=0.6)


def test_pieces_too_heavy_to_carry_are_told(street, cut):
    street()
    result = cut(carry_limit='"100 lb"')
    told = [f.message for f in result.findings if f.code == "heavy-pieces"]
    density = result.bid.products["turf60"].weight_kg_per_m2()
    pieces = result.plan.pieces
    over = pieces["length_m"] * pieces["width_m"] * density > 100 * POUND_KG
    assert len(told) == 1 and told[0].startswith(f"{over.sum()} of {len(pieces)} pieces")
    assert "heavy-pieces" not in {f.code for f in cut(carry_limit='"5000 lb"').findings}


# ---------------------------------------------------------------------------- few rolls open


def served(result):
    """The lots that each roll serves, as places in the order of work."""
    pieces = result.plan.pieces
    site = result.ground.areas["site"].to_numpy()[pieces["area_index"]]
    at = {name: place for place, name in enumerate(result.plan.lots["site"])}
    rolls = pd.unique(pieces["roll"])
    return [[at[name] for name in site[pieces["roll"] == roll]] for roll in rolls]


def test_few_rolls_are_open_and_the_curve_says_what_that_costs(street, cut):
    street()
    result = cut(cutting='"site"', open_rolls=2, open_rolls_compared="[1, 3, 12]")
    assert max(most_open(served(result))) <= 2
    trade = tables(result)["open_rolls"]
    assert trade["open_rolls"].tolist() == ["1", "2", "3", "12", "any"]
    assert trade["chosen"].tolist() == ["no", "yes", "no", "no", "no"]
    assert (trade["rolls_most"][:-1] <= [1, 2, 3, 12]).all()
    money = trade["turf_and_seams"].astype(float)
    assert money.is_monotonic_decreasing  # what few open rolls do, more do too
    own = result.plan.pools["bought_m2"].sum()
    assert trade["bought_ft2"].iloc[1] * FT2_M2 == pytest.approx(own, abs=0.01)
    assert trade["more_waste_pct"].iloc[-1] == 0


def least(pieces, most):
    """Least metres that pieces (length, width, lot) can be cut from with ``most`` rolls open, rolls
    being 9 m wide and 25 m long and billed by the metre, by trying everything: every way to part
    them among rolls, a roll's among sections, a section's among lanes."""

    def section(lanes):
        if sum(max(w for _, w, _ in lane) for lane in lanes) > 9:
            return np.inf
        return max(sum(size for size, _, _ in lane) for lane in lanes)

    def roll(items):
        used = min(sum(min(map(section, parted(one))) for one in how) for how in parted(items))
        return np.ceil(used) if used <= 25 else np.inf

    plans = (how for how in parted(pieces) if open_in(how) <= most)
    return min(sum(map(roll, how)) for how in plans)


def parted(items):
    """Every way to part items among groups."""
    if not items:
        yield []
        return
    for rest in parted(items[1:]):
        yield [[items[0]], *rest]
        for k, some in enumerate(rest):
            yield [*rest[:k], [items[0], *some], *rest[k + 1 :]]


def open_in(rolls):
    return max(most_open([[lot for *_, lot in pieces] for pieces in rolls]))


def planned_on_site(pieces, most):
    """Metres of roll that geoturf buys for the same; each piece is an area of its own."""
    sites = [str(lot) for *_, lot in pieces]
    areas = pd.DataFrame({"site": sites, "phase": "1", "product": "t"})
    none = np.zeros((0, 3))
    laid = [
        Layout(0.0, np.zeros((1, 4)), none, none, np.array([[long, wide]]), 9.0, 9.0, 0.0, 0.0)
        for long, wide, _ in pieces
    ]
    rules = CutRules(cutting="site", open_rolls=most, billing_step="1 m", draw_length="0 m")
    layout_rules = LayoutRules(cut_step="10 cm")
    product = Product(roll_width="9 m", roll_lengths="25 m", price="1 USD/m")
    offered = tuple(Choices((one,), (one,), np.nan) for one in laid)
    ground = Ground(areas, None, None, None, "")
    market = {"t": markets(product, rules)}
    setting = Setting(ground, offered, market, rules, layout_rules, {})
    pool = Pool("1 / t", "1", "t", tuple(range(len(pieces))))
    free = square(setting, [pool], dict(enumerate(laid)), Serial())
    plans, _ = onsite.plans(setting, free, sorted(set(sites)), Serial())
    return sum(one.cut.bought_m(one.job) for plan in plans for one in plan.jobs)


def invented(rng):
    """Five pieces of three to five lots."""
    sizes = zip(rng.integers(3, 20, 5), rng.integers(2, 9, 5), strict=True)
    lots = sorted([0, 1, 2, *rng.integers(0, 5, 2).tolist()])
    place = [sorted(set(lots)).index(lot) for lot in lots]
    return [(float(a), float(b), lot) for (a, b), lot in zip(sizes, place, strict=True)]


def test_few_open_rolls_are_planned_as_well_as_by_trying_everything():
    rng = np.random.default_rng(7)
    crossed = [(20.0, 4.0, 0), (9.0, 4.0, 1), (20.0, 4.0, 2), (9.0, 4.0, 3)]
    assert [least(crossed, most) for most in (1, 2)] == [40, 29]  # 20 beside 20, 9 beside 9
    for pieces in (crossed, *(invented(rng) for _ in range(5))):
        found = [planned_on_site(pieces, most) for most in (1, 2)]
        assert found == pytest.approx([least(pieces, most) for most in (1, 2)]), pieces


def test_lots_that_share_no_rolls_are_cut_as_in_a_yard(street, cut):
    street()
    yard, site = cut(pool='"site"'), cut(pool='"site"', cutting='"site"')
    pd.testing.assert_frame_equal(yard.plan.pieces, site.plan.pieces)
    assert site.plan.lots["most"].max() == 1 and site.plan.trade is None


@settings(max_examples=3, deadline=None)
@given(
    sizes=st.lists(st.tuples(st.integers(3, 14), st.integers(3, 14)), min_size=2, max_size=6),
    most=st.integers(1, 3),
    sold=st.sampled_from(["length", "roll"]),
)
def test_any_plan_keeps_its_limits_and_its_bound(tmp_path_factory, sizes, most, sold):
    x, y = 550_000, 4_200_000
    folder = tmp_path_factory.mktemp("lots")
    boxes = [shapely.box(x + 30 * k, y, x + 30 * k + a, y + b) for k, (a, b) in enumerate(sizes)]
    table = {"site": [f"s{k}" for k in range(len(sizes))]}
    geopandas.GeoDataFrame(table, geometry=boxes, crs="EPSG:32610").to_file(folder / "lawns.gpkg")
    bid = geoturf.make_bid(
        {
            "layers": [{"path": "lawns.gpkg"}],
            "products": {"turf60": {"sold_by": sold}},
            "cuts": {"cutting": "site", "open_rolls": most},
            "folder": str(folder),
        }
    )
    result = geoturf.run(bid)  # checks every promise on the way: few open, bound <= bought
    assert result.plan.lots["most"].max() <= most
    pools = result.plan.pools
    assert (pools["cut_bound_m2"] <= pools["bought_m2"] + 1e-9).all()
    assert (pools["bound_m2"] <= pools["bought_m2"] + 1e-9).all()
