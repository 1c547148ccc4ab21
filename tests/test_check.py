"""A tiny sound result made by hand, and one planted fault for each promise: each must be found, and
only it.

Two sites, three areas, one product on 2.1 m rolls (2.0 m usable), metres throughout; the pile
points north, so that u is y and v is x. Ends get 0.1 m to trim, sides nothing, cuts are billed by
half a metre.
"""

import re
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, box

import geoturf.check
from geoturf.bid import make_bid
from geoturf.check import broken_promises, laying
from geoturf.check.rolling import _not_cut_apart
from geoturf.model import Calendar, CutPlan, Edges, Ground, Price, Result, Takeoff, Water

BID = {
    "layers": [{"path": "lots.shp"}],
    "products": {
        "turf": {"roll_width": "2.1 m", "roll_lengths": "20 m"},
        "other": {"roll_width": "2.1 m"},
    },
    "layout": {
        "selvage_trim": "5 cm",
        "end_allowance": "10 cm",
        "side_allowance": "0 m",
        "min_piece_width": "0 m",
        "min_piece_length": "0 m",
        "narrow_strip": "0 %",
        "cross_seams": "anywhere",
    },
    "cuts": {"billing_step": "0.5 m", "left_over_width": "1 m", "left_over_length": "3 m"},
    "water": {
        "budget": "603 USD",
        "conversions": {"turf": {"kept_line": "0 USD"}},
        "offer": ["turf", "planting"],
    },
    "edges": {"perimeter_spacing": "10 cm", "field_spacing": "50 cm"},
}

# u0, u1, v0, v1 as laid; along, across, length, width on the roll. Area 2 is 1.2 m wide and 1.8 m
# deep, cut into four.
PIECES = """
piece area_index u0  u1  v0  v1  roll along_m across_m length_m width_m
a1    0          0   3   0   2   R1   0       0        3.2      2
a2    0          0   3   2   4   R1   3.2     0        3.2      2
b1    1          0   3   4   5   R1   6.4     0        3.2      1
c1    2          0   1   0   0.6 R2   0       0        1.2      0.6
c2    2          0   1   0.6 1.2 R2   0       0.6      1.2      0.6
c3    2          1   1.4 0   1.2 R2   1.2     0        0.6      1.2
c4    2          1.4 1.8 0   1.2 R2   1.8     0        0.6      1.2
"""
ROLLS = """
roll phase product pool width_m length_m used_m pieces left_over_m pattern source
R1   1     turf    one  2.1     10       9.6    3      0.4         P1      bought
R2   2     turf    two  2.1     2.5      2.4    4      0.1         P2      bought
"""
POOLS = """
pool phase product pieces rolls bought_m2 needed_m2 bound_m2 cut_bound_m2 by_hand_m2 status
one  1     turf    3      1     21        15        17       18           25         proven
two  2     turf    4      1     5.25      2.16      4        5            6          proven
"""
STOCK = """
roll along_m across_m length_m width_m
R1   6.4     1        3.6      1
"""
SEAMS = """
area_index kind  u0  v0  u1  v1  bearing_deg length_m
0          seam  0   2   3   2   0           3
2          seam  0   0.6 1   0.6 0           1
2          cross 1   0   1   1.2 0           1.2
2          cross 1.4 0   1.4 1.2 0           1.2
"""
LOTS = """
site phase pieces drawn shared opened finished open most
s1   1     3      1     0      1      1        0    1
s2   2     4      1     0      1      1        0    1
"""
CHOSEN = """
pile_bearing_deg seam_m cross_seams pieces piece_area_m2 turf_bought_m2 free_cost_ratio
0                3      0           2      12.8          16.8           1
0                0      0           1      3.2           4.2            1
0                3.4    2           4      2.88          5.25           1
"""
RUNS = """
area_index kind     neighbour closed length_m
0          open     -1        False  11
0          shared   1         False  3
1          shared   0         False  3
1          building -1        False  5
2          open     -1        True   6
"""
TOTALS = """
edge_paving_m edge_building_m edge_shared_m edge_open_m perimeter_fasteners field_fasteners fastened_m
0             0               3             11          111                 48              11
0             5               3             0           51                  12              5
0             0               0             6           60                  9               6
"""
ITEMS = """
scope   scope_kind phase site key  item net   unit allowance order order_size
phase_1 pool       1     -    turf Turf 16    m2   0         20    1.05
phase_2 pool       2     -    turf Turf 2.88  m2   0         5     1.05
phase_1 pool       1     -    tape Tape 6     m    0.1       2     5
phase_2 pool       2     -    tape Tape 3.4   m    0.1       1     5
bid     bid        -     -    turf Turf 18.88 m2   0         25    1.05
bid     bid        -     -    tape Tape 9.4   m    0.1       3     5
"""
LINES = """
line section  phase key    kind     description quantity unit   unit_price amount
1    32_18_13 1     turf   material Turf        21.00    m2     20.00      420.00
2    32_18_13 1     tape   material Tape        2        roll   7.50       15.00
3    32_18_13 2     turf   material Turf        5.25     m2     20.00      105.00
4    32_18_13 2     tape   material Tape        1        roll   7.50       7.50
5    01_00_00 -     profit general  Profit      1        lump   54.75      54.75
"""
CHANGES = """
alternate scope   line  difference
edged     bid     -     100.10
edged     phase_1 -     100.00
edged     phase_1 board 60.00
edged     phase_1 stake 40.00
edged     phase_2 -     0.10
edged     phase_2 board 0.10
edged     site_s1 -     100.00
edged     site_s2 -     0.10
bare      bid     -     -100.00
bare      phase_1 -     -100.00
bare      phase_1 turf  -100.00
bare      site_s1 -     -100.00
"""
WATER = """
area_index conversion  district ground_area_m2 baseline_m3 use_m3 saved_m3 capital rebate chosen rank
0          turf        north    12             100         10     90       478.5   50     True   1
0          planting    north    12             100         40     60       200     100    False  0
2          turf        south    2.16           20          2      18       123.75  0      True   2
"""
PAID = [{"fund": "grant", "spent": 478.5}, {"fund": "city", "spent": 123.75}]
FUNDS = {"grant": {"amount": "500 USD", "districts": ["north"]}, "city": {"amount": "150 USD"}}
MONTHS = """
month baseline_m3 saved_m3
1     20          8
7     100         100
"""
DIFFERENCES = """
plan     etwu_m3 special_m3 constant_m3 rain_m3 unplanted_m3
existing 140     -5         1           -16     0
chosen   0       0          0           0       12
"""
MONEY = {
    "quantity",
    "unit_price",
    "amount",
    "cost",
    "price",
    "profit",
    "subtotal",
    "base",
    "difference",
    "extension",
}


def table(text):
    """A table from its picture; ``-`` is an empty text, money is Decimal, ``phase`` text."""
    head, *rows = (line.split() for line in text.split("\n") if line.strip())
    columns = {name: [row[k] for row in rows] for k, name in enumerate(head)}
    return pd.DataFrame({name: _column(name, values) for name, values in columns.items()})


def _column(name, values):
    if name in MONEY:
        return [Decimal(value) for value in values]
    if name == "phase" or not all(_is_number(value) for value in values):
        return (
            [value == "True" for value in values]
            if set(values) <= {"True", "False"}
            else [v.strip("-") for v in values]
        )
    return [float(value) if "." in value else int(value) for value in values]


def _is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return text != "-"


def ground():
    shapes = [box(0, 0, 4, 3), box(4, 0, 5, 3), box(0, 0, 1.2, 1.8)]
    area = [12.0, 3.0, 2.16]
    areas = pd.DataFrame(
        {
            "site": ["s1", "s1", "s2"],
            "area": ["a", "b", "c"],
            "phase": ["1", "1", "2"],
            "product": "turf",
        }
    )
    areas["work_order"] = np.nan
    areas["laid_stretch"], areas["laid_fall_deg"] = 1.0, np.nan
    areas["view"], areas["pile_bearing_deg"], areas["perimeter_m"] = "", np.nan, [14.0, 8.0, 6.0]
    areas["view_turn_deg"] = 0.0
    areas = areas.assign(
        plan_area_m2=area, ground_area_m2=area, surface_area_m2=area, area_tolerance_m2=0.0
    )
    areas["geometry"] = areas["laid"] = np.array([*shapes, None], dtype=object)[:-1]
    return Ground(areas, pd.DataFrame(), pd.DataFrame(), None, "")


def edges():
    runs = table(RUNS)
    runs["geometry"] = np.array(
        [LineString([(0, 0), (length, 0)]) for length in runs["length_m"]] + [None]
    )[:-1]
    return Edges(runs, table(TOTALS))


def price():
    shares = "cost price\n435.00 478.50\n0.00 0.00\n112.50 123.75"
    sites = "phase site cost price\n1 s1 435.00 478.50\n2 s2 112.50 123.75"
    steps = "step base amount subtotal\nprofit 547.50 54.75 602.25"
    schedule = (
        "phase section amount profit price\n1 32_18_13 435.00 43.50 478.50\n2 32_18_13 "
        "112.50 11.25 123.75"
    )
    names = ("materials", "labour", "plant", "services", "direct cost", "cost", "profit", "price")
    values = ("547.50", "0.00", "0.00", "0.00", "547.50", "547.50", "54.75", "602.25")
    totals = dict(zip(names, map(Decimal, values), strict=True))
    others = table("alternate price difference\nedged 702.35 100.10\nbare 502.25 -100.00")
    phases = table(sites).drop(columns="site")
    scopes = pd.DataFrame({"scope": ["bid", "phase 1", "phase 2"], "description": "turf"})
    pay = table(
        "quantity unit_price extension\n25.00 24.09 602.25\n20.00 23.925 478.50\n5.00 24.75 123.75"
    )
    none = pd.DataFrame()
    return Price(
        table(LINES).assign(book=""),
        table(sites),
        totals,
        table(schedule),
        table(shares),
        table(steps).assign(book=""),
        phases,
        others,
        none,
        none,
        pd.concat([scopes, pay], axis=1),
        table(CHANGES).replace({"scope": "_"}, {"scope": " "}, regex=True),
    )


def sound():
    pieces = table(PIECES).assign(
        bearing_deg=0.0, start_slant_m=0.0, end_slant_m=0.0, cut_u_m=np.nan
    )
    pools = table(POOLS).assign(
        square_m2=lambda pools: pools["bought_m2"], strip_bound_m2=lambda pools: pools["bound_m2"]
    )
    plan = CutPlan(pieces, table(ROLLS), pools, table(STOCK), table(CHOSEN), table(SEAMS))
    plan = replace(plan, lots=table(LOTS))
    takeoff = Takeoff(table(ITEMS), pd.DataFrame({"tape": [6.0, 0.0, 3.4]}))
    water = Water(
        **dict.fromkeys([field.name for field in fields(Water)])
        | {"table": table(WATER), "monthly": table(MONTHS), "differences": table(DIFFERENCES)}
        | {"summary": {"funds": PAID}}
    )
    when = Calendar(pd.DataFrame(), pd.DataFrame(), 0, None, pd.DataFrame())
    made = (ground(), edges(), (), plan, takeoff, price(), when, water)
    return Result(make_bid(BID), None, *made, (), {})


def planted(room, name, *cells, result=None):
    """The sound result with cells (row, column, value) of one table overwritten."""
    result = result or sound()
    stage = getattr(result, room)
    changed = getattr(stage, name).copy()
    for row, column, value in cells:
        values = changed[column].astype(object).to_list()
        values[row] = value
        changed[column] = values
    return replace(result, **{room: replace(stage, **{name: changed})})


def codes(result):
    return {finding.code for finding in broken_promises(result)}


def test_a_sound_result_breaks_no_promise():
    assert broken_promises(sound()) == ()


def test_what_lies_as_in_a_sound_result_is_not_looked_at_again(monkeypatch):
    """An area that lies otherwise in one piece is, and its fault is told."""
    one = sound()
    moved = replace(one, plan=several(("plan.pieces", (2, "v1", 4.99))).plan)
    assert "not-covered" in {finding.code for finding in broken_promises(moved, [one])}
    seen = []
    monkeypatch.setattr(laying, "ON_GROUND", (lambda given: seen.append(given.ground.areas) or [],))
    assert broken_promises(one, [one]) == ()
    broken_promises(moved, [one])
    assert [len(areas) for areas in seen] == [0, 1]


def test_as_many_rolls_as_allowed_may_be_open_and_drawn_on():
    assert broken_promises(carried("s3", CARRIED_PAST, open_rolls=2)) == ()
    assert broken_promises(carried("s2", CARRIED_TO, rolls_per_lot=2, open_rolls=1)) == ()


def several(*plantings):
    """Several tables overwritten: ("room.table", cell, cell …) each."""
    result = sound()
    for where, *cells in plantings:
        result = planted(*where.split("."), *cells, result=result)
    return result


def paid(*rows):
    """Unit price and extension of rows of the schedule of prices."""
    cells = [
        (row, column, Decimal(value))
        for row, *values in rows
        for column, value in zip(("unit_price", "extension"), values, strict=True)
    ]
    return "price.schedule_of_prices", *cells


def with_rules(result=None, **tables):
    """The result under other rules than it was made by."""
    bid = make_bid(BID | {name: BID.get(name, {}) | table for name, table in tables.items()})
    return replace(result or sound(), bid=bid)


def less(room, name, row):
    """A table without one of its rows."""
    result = sound()
    stage = getattr(result, room)
    return replace(result, **{room: replace(stage, **{name: getattr(stage, name).drop(index=row)})})


def carried(site, lots, **cuts):
    """Cut on site under these rules: the first roll, begun at s1, goes on to a ``site`` that has
    the second area."""
    result = with_rules(
        several(("ground.areas", (1, "site", site))), cuts={"cutting": "site"} | cuts
    )
    return replace(result, plan=replace(result.plan, lots=table(lots)))


#: past s2, which the second roll serves alone
CARRIED_PAST = """
site phase pieces drawn shared opened finished open most
s1   1     2      1     1      1      0        1    1
s2   2     4      1     0      1      1        1    2
s3   1     1      1     1      0      1        0    1
"""
#: to s2, which then draws on both rolls
CARRIED_TO = """
site phase pieces drawn shared opened finished open most
s1   1     2      1     1      1      0        1    1
s2   2     5      2     1      1      2        0    1
"""

#: the four pieces of the second roll round a hole: apart, inside, and no straight cut goes through
PINWHEEL = (
    (
        "plan.pieces",
        (4, "along_m", 0.6),
        (4, "across_m", 1.2),
        (5, "across_m", 0),
        (6, "along_m", 0),
        (6, "across_m", 0.6),
    ),
    ("plan.rolls", (1, "used_m", 1.8), (1, "left_over_m", 0.2), (1, "length_m", 2.0)),
    ("plan.pools", (1, "bought_m2", 4.2), (1, "bound_m2", 4), (1, "cut_bound_m2", 4)),
    ("plan.chosen", (2, "turf_bought_m2", 4.2)),
    ("takeoff.items", (1, "order", 4), (4, "order", 24)),
)

#: two pieces of the second area laid over each other by 5 cm, and cut that much longer
LAID_OVER = (
    (
        "plan.pieces",
        (3, "u1", 1.05),
        (3, "length_m", 1.25),
        (5, "along_m", 1.25),
        (6, "along_m", 1.85),
    ),
    ("plan.rolls", (1, "used_m", 2.45), (1, "left_over_m", 0.05)),
    ("plan.chosen", (2, "piece_area_m2", 2.91)),
)

#: the second roll taken from left-overs, though the bid has none
TAKEN = (
    ("plan.rolls", (1, "source", "stock")),
    (
        "plan.pools",
        (1, "bought_m2", 0),
        (1, "rolls", 0),
        (1, "bound_m2", 0),
        (1, "cut_bound_m2", 0),
    ),
    ("plan.chosen", (2, "turf_bought_m2", 0)),
    ("takeoff.items", (1, "net", 0), (1, "order", 0), (4, "net", 16), (4, "order", 20)),
)

FAULTS = {
    # pieces on the ground
    "not-covered": lambda: several(("plan.pieces", (2, "v1", 4.99))),
    "pieces-overlap": lambda: several(*LAID_OVER),
    "piece-too-wide": lambda: several(("plan.pieces", (0, "v0", -0.05))),
    "piece-cut-short": lambda: several(("plan.pieces", (2, "u1", 3.01))),
    "piece-too-narrow": lambda: with_rules(layout=BID["layout"] | {"min_piece_width": "0.7 m"}),
    "piece-too-short": lambda: with_rules(layout=BID["layout"] | {"min_piece_length": "0.5 m"}),
    "strip-narrow-inside": lambda: with_rules(layout=BID["layout"] | {"narrow_strip": "40 %"}),
    "cross-seam-unasked": lambda: with_rules(layout=BID["layout"] | {"cross_seams": "needed"}),
    "seams-not-as-laid": lambda: several(
        ("plan.seams", (0, "length_m", 1.5)), ("plan.chosen", (0, "seam_m", 1.5))
    ),
    "pile-turned": lambda: several(("plan.pieces", (1, "bearing_deg", 180.0))),
    "pile-not-as-stated": lambda: several(("ground.areas", (0, "pile_bearing_deg", 90.0))),
    # pieces on rolls
    "piece-without-roll": lambda: several(("plan.pieces", (1, "piece", "a1"))),
    "roll-without-piece": lambda: with_an_idle_roll(),
    "roll-of-two-pools": lambda: several(("plan.rolls", (1, "phase", "1"))),
    "piece-off-roll": lambda: several(("plan.pieces", (0, "along_m", -0.1))),
    "cuts-overlap": lambda: several(("plan.pieces", (4, "across_m", 0.5))),
    "roll-not-cuttable": lambda: several(*PINWHEEL),
    "length-not-sold": lambda: with_rules(cuts=BID["cuts"] | {"billing_step": "0.4 m"}),
    "not-in-stock": lambda: several(*TAKEN),
    "left-over-taken": lambda: several(("plan.stock", (0, "across_m", 0.9))),
    "roll-sums": lambda: several(("plan.rolls", (0, "left_over_m", 0.3))),
    # the order of work
    "lot-not-once": lambda: several(("plan.lots", (1, "site", "s1"))),
    "order-not-kept": lambda: several(
        ("ground.areas", *((row, "work_order", at) for row, at in enumerate((2.0, 2.0, 1.0))))
    ),
    "order-sums": lambda: several(("plan.lots", (0, "open", 1))),
    "too-many-open": lambda: carried("s3", CARRIED_PAST, open_rolls=1),
    "too-many-drawn": lambda: carried("s2", CARRIED_TO, rolls_per_lot=1),
    # tables
    "value-missing": lambda: several(("plan.chosen", (0, "seam_m", np.nan))),
    "value-negative": lambda: several(("plan.pools", (0, "by_hand_m2", -1.0))),
    "rows-missing": lambda: less("takeoff", "areas", 2),
    "edges-not-perimeter": lambda: several(("ground.areas", (0, "perimeter_m", 14.002))),
    "edges-not-runs": lambda: several(
        ("edges.totals", (0, "edge_open_m", 10), (0, "edge_paving_m", 1))
    ),
    "nails-miscounted": lambda: several(("edges.totals", (0, "perimeter_fasteners", 110))),
    "pool-sums": lambda: several(("plan.pools", (0, "needed_m2", 16))),
    "bound-beaten": lambda: several(("plan.pools", (0, "bound_m2", 21.1))),
    "turf-shares": lambda: several(("plan.chosen", (0, "turf_bought_m2", 16.9))),
    "area-sums": lambda: several(("plan.chosen", (2, "cross_seams", 1))),
    "order-short": lambda: several(("takeoff.items", (2, "order", 1), (5, "order", 2))),
    "takeoff-sums": lambda: several(("takeoff.items", (5, "net", 9.5))),
    "net-not-by-area": lambda: several(("takeoff.areas", (0, "tape", 5.9))),
    "turf-not-as-planned": lambda: several(("takeoff.items", (0, "order", 21), (4, "order", 26))),
    # money
    "not-cents": lambda: several(("price.areas", (1, "price", 0.0))),
    "line-amount": lambda: several(
        ("price.lines", (1, "amount", Decimal("15.01")), (3, "amount", Decimal("7.49")))
    ),
    "lines-not-price": lambda: several(
        ("price.lines", (4, "amount", Decimal("54.76")), (4, "unit_price", Decimal("54.76")))
    ),
    "totals-not-lines": lambda: several(("price.lines", (1, "kind", "labour"))),
    "build-up": lambda: several(("price.build_up", (0, "subtotal", Decimal("602.26")))),
    "schedule-across": lambda: several(
        ("price.schedule", (0, "profit", Decimal("43.51")), (1, "profit", Decimal("11.24")))
    ),
    "schedule-down": lambda: several(
        ("price.schedule", (0, "amount", Decimal("436.00")), (0, "price", Decimal("479.50")))
    ),
    "alternate-rows": lambda: several(
        ("price.changes", (2, "difference", Decimal("60.01")), (6, "difference", Decimal("99.99")))
    ),
    "pay-item": lambda: several(("price.schedule_of_prices", (2, "quantity", Decimal("5.01")))),
    "pay-scope": lambda: several(paid((1, "23.975", "479.50"), (2, "24.55", "122.75"))),
    "sites-not-total": lambda: several(
        ("price.sites", (0, "price", Decimal("478.51"))),
        ("price.areas", (0, "price", Decimal("478.51"))),
        ("water.table", (0, "capital", 478.51)),
        paid((1, "23.9255", "478.51")),
    ),
    "phases-not-total": lambda: several(("price.phases", (0, "cost", Decimal("434.99")))),
    "alternate-difference": lambda: several(
        ("price.alternates", (1, "difference", Decimal("-100.01")))
    ),
    # water
    "saving-no-difference": lambda: several(("water.table", (1, "use_m3", 41))),
    "months-not-year": lambda: several(("water.monthly", (0, "baseline_m3", 21))),
    "chosen-twice": lambda: several(
        (
            "water.table",
            (1, "area_index", 2),
            (1, "district", "south"),
            (1, "baseline_m3", 20),
            (1, "use_m3", 10),
            (1, "saved_m3", 10),
        ),
        (
            "water.table",
            (1, "chosen", True),
            (1, "rank", 3),
            (1, "capital", 0),
            (2, "baseline_m3", 20),
        ),
        ("water.monthly", (0, "saved_m3", 18)),
        ("water.differences", (1, "unplanted_m3", 2)),
    ),
    "two-balances": lambda: several(("water.differences", (0, "rain_m3", 0))),
    "ranks": lambda: several(("water.table", (2, "rank", 1))),
    "over-budget": lambda: with_rules(water={"budget": "602.23 USD"}),
    "district-short": lambda: with_rules(water={"every_district": {"areas": 2}}),
    "district-over-budget": lambda: with_rules(
        water={"districts": {"south": {"budget": "123.73 USD"}}}
    ),
    "district-share": lambda: with_rules(water={"districts": {"south": {"least_share": "21 %"}}}),
    "fund-overspent": lambda: with_rules(
        water={"funds": FUNDS | {"grant": {"amount": "478.48 USD"}}}
    ),
    "fund-pays-not": lambda: with_rules(
        water={"funds": FUNDS | {"city": {"amount": "150 USD", "districts": ["north"]}}}
    ),
    "turf-not-as-chosen": lambda: several(("water.table", (2, "conversion", "planting"))),
    "turf-not-at-its-price": lambda: several(("water.table", (2, "capital", 123.73))),
    "areas-not-site": lambda: several(
        ("price.areas", (0, "price", Decimal("478.49")), (2, "price", Decimal("123.76"))),
        ("water.table", (0, "capital", 478.49), (2, "capital", 123.76)),
        paid((1, "23.9245", "478.49"), (2, "24.752", "123.76")),
    ),
}


def with_an_idle_roll():
    """A third roll of no length, on which no piece lies."""
    result = sound()
    idle = pd.DataFrame(
        [
            {
                "roll": "R3",
                "phase": "1",
                "product": "turf",
                "pool": "one",
                "width_m": 2.1,
                "length_m": 0.0,
            }
        ]
    )
    idle = idle.assign(used_m=0.0, pieces=0, left_over_m=0.0, pattern="P3", source="bought")
    plan = replace(result.plan, rolls=pd.concat([result.plan.rolls, idle], ignore_index=True))
    return planted("plan", "pools", (0, "rolls", 2), result=replace(result, plan=plan))


def test_a_cross_seam_at_no_inner_corner_is_found():
    """The third area is a plain rectangle: it has none."""
    rules = BID["layout"] | {"cross_seams": "corners"}
    assert codes(with_rules(layout=rules)) == {"cross-seam-unasked"}


@pytest.mark.parametrize("code", FAULTS)
def test_a_planted_fault_is_found_and_only_it(code):
    assert codes(FAULTS[code]()) == {code}


def test_every_promise_has_its_planted_fault():
    """The codes in the source of `geoturf.check` are those of `FAULTS`."""
    source = "".join(
        path.read_text(encoding="utf-8")
        for path in Path(geoturf.check.__file__).parent.glob("*.py")
    )
    said = set(re.findall(r"(?:told|_agree)\(\s*\"([a-z-]+)\"", source))
    elsewhere = {"not-laid-alike"}  # needs lots of one shape: planted in tests/test_plans.py
    elsewhere |= {"pile-out-of-row"}  # below: turning a pile breaks more
    elsewhere |= {code for code in said if code.startswith("estimate-")}  # tests/test_estimate.py
    assert said == set(FAULTS) | elsewhere


@pytest.mark.parametrize(("share", "found"), [("site", set()), ("area", {"roll-of-two-pools"})])
def test_pools_by_site_and_by_area(share, found):
    """The first roll serves two areas of one site."""
    assert codes(with_rules(cuts=BID["cuts"] | {"pool": share})) == found


def test_areas_seen_together_have_one_pile():
    seen = ("ground.areas", (0, "view", "street"), (2, "view", "street"))
    assert codes(several(seen)) == set()
    turned = ("plan.chosen", (2, "pile_bearing_deg", 90.0))
    assert "pile-not-as-stated" in codes(several(seen, turned))
    stated = ("ground.areas", (2, "pile_bearing_deg", 90.0))
    assert "pile-not-as-stated" not in codes(several(seen, turned, stated))


def in_a_row(turn_deg, site="s2"):
    """The first lot and another in a row, whose piles lean 90 degrees apart."""
    seen = [(0, "view", "street"), (2, "view", "street"), (2, "site", site)]
    seen += [(row, "view_turn_deg", turn_deg) for row in (0, 2)]
    turned = [
        ("plan.chosen", (2, "pile_bearing_deg", 90.0)),
        ("plan.pieces", (5, "bearing_deg", 90.0)),
    ]
    return several(("ground.areas", *seen), *turned)


def test_lots_of_a_row_lean_apart_as_they_may_and_one_lot_does_not():
    of_leaning = {"pile-not-as-stated", "pile-out-of-row"}
    assert not of_leaning & codes(in_a_row(45.0))
    assert of_leaning & codes(in_a_row(44.9)) == {"pile-out-of-row"}
    assert of_leaning & codes(in_a_row(45.0, site="s1")) == {"pile-not-as-stated"}


def test_a_left_over_at_hand_may_be_used_once():
    stock = [{"product": "turf", "width": "2.1 m", "length": "2.5 m"}]
    cuts = BID["cuts"] | {"stock": stock}
    assert codes(with_rules(several(*TAKEN), cuts=cuts)) == set()


@pytest.mark.parametrize(
    ("column", "value"), [("length_m", 3.7), ("along_m", 6.3), ("width_m", 0.99), ("length_m", 2.9)]
)
def test_left_overs_are_on_the_roll_clear_and_worth_keeping(column, value):
    change = {"along_m": 6.3, "across_m": 0.5} if column == "along_m" else {column: value}
    assert codes(several(("plan.stock", *((0, name, to) for name, to in change.items())))) == {
        "left-over-taken"
    }


@pytest.mark.parametrize(
    ("lengths", "found"), [(["10 m", "2.5 m"], set()), ("10 m", {"length-not-sold"})]
)
def test_whole_rolls_are_of_stocked_lengths(lengths, found):
    turf = BID["products"]["turf"] | {"sold_by": "roll", "roll_lengths": lengths}
    assert codes(with_rules(products={"turf": turf})) == found


def test_a_budget_may_be_net_of_rebates():
    net = {"budget": "552.25 USD", "budget_takes": "capital less rebate"}
    assert codes(with_rules(water=net)) == set()
    assert codes(with_rules(water=net | {"budget": "552.23 USD"})) == {"over-budget"}


@pytest.mark.parametrize(
    ("north", "found"),
    [
        ({"areas": 1, "ground": "12 m^2", "budget": "478.50 USD"}, set()),
        ({"least_share": "79.4 %", "most_share": "79.5 %"}, set()),
        ({"ground": "12.01 m^2"}, {"district-short"}),
        ({"most_share": "79.4 %"}, {"district-share"}),
    ],
)
def test_what_a_district_is_to_have(north, found):
    """478.50 of 602.25 is 79.45 %."""
    assert codes(with_rules(water={"districts": {"north": north}})) == found


def test_funds_pay_for_each_other():
    """Two funds for the north alone and one for anything. Whatever is spent first, all is paid
    where the sums allow it, and nothing is where only the sum of all does."""
    paid = [("a", 300.0), ("b", 178.5), ("any", 123.75)]
    split = replace(sound(), water=replace(sound().water, summary={"funds": [
        {"fund": name, "spent": spent} for name, spent in paid
    ]}))  # fmt: skip
    north = {"districts": ["north"]}
    funds = {
        "any": {"amount": "124 USD"},
        "a": {"amount": "300 USD"} | north,
        "b": {"amount": "179 USD"} | north,
    }
    assert codes(with_rules(split, water={"funds": funds})) == set()
    swapped = funds | {"any": funds["any"] | {"districts": ["south"], "conversions": ["planting"]}}
    assert codes(with_rules(split, water={"funds": swapped})) == {"fund-pays-not"}


def test_no_water_no_promise_about_it():
    assert codes(replace(sound(), water=None)) == set()


def test_a_fault_names_the_area_and_how_many_more():
    result = several(("edges.totals", (0, "perimeter_fasteners", 1), (2, "perimeter_fasteners", 1)))
    (finding,) = broken_promises(result)
    assert finding.severity == "error"
    assert finding.message.startswith("site s1, area a: 159 nails are due (and 1 more)")


def cut_apart(boxes):
    """Whether straight cuts from side to side set all boxes (x0, y0, x1, y1) free: tried one cut
    after the other."""
    if len(boxes) <= 1:
        return True
    for axis in (0, 1):
        for at in {b[axis] for b in boxes}:
            before = [b for b in boxes if b[axis + 2] <= at]
            after = [b for b in boxes if b[axis] >= at]
            if before and after and len(before) + len(after) == len(boxes):
                return cut_apart(before) and cut_apart(after)
    return False


@settings(max_examples=300, deadline=None)
@given(
    st.lists(st.tuples(*[st.integers(0, 6)] * 2, *[st.integers(1, 4)] * 2), max_size=14),
    st.integers(0, 3),
)
def test_cuttable_agrees_with_trying_every_cut(tries, rolls):
    """Boxes put down where there is room; a second, plain roll beside them must not matter. A cut
    that goes through never hinders another, so the first one found is as good as any."""
    boxes = []
    for x, y, long, wide in tries:
        box_ = (x, y, x + long, y + wide)
        if all(
            b[0] >= box_[2] or b[2] <= box_[0] or b[1] >= box_[3] or b[3] <= box_[1] for b in boxes
        ):
            boxes.append(box_)
    plain = [(0, k, 1, k + 1) for k in range(rolls)]
    corners = np.array(boxes + plain, dtype=float).reshape(-1, 4)
    roll = np.array([1] * len(boxes) + [0] * len(plain))
    stuck = _not_cut_apart(roll, corners[:, :2], corners[:, 2:])
    assert stuck.any() == (not cut_apart(boxes))
    assert not stuck[len(boxes) :].any()


def test_a_joint_along_which_borders_run_is_seam_where_both_sides_have_turf():
    """By hand: along a joint of 12 m the lower strip has turf for 8 m, the upper one for 6, both
    for 4."""
    lower = box(0, 0, 12, 3) | box(0, 0, 8, 4)
    upper = box(4, 4, 10, 8) | box(0, 5, 12, 8)
    joint, turf = np.array([[0.0, 4.0]]), np.array([lower | upper])
    below, above = (
        laying._turf_on(turf, joint, np.array([[12.0, 4.0]]), np.array([[0.0, by]]))
        for by in (-1e-4, 1e-4)
    )
    assert laying._lengths(below, 1) == pytest.approx(8)
    assert laying._lengths(above, 1) == pytest.approx(6)
    assert laying._on_both_m(below, above, 1) == pytest.approx(4)
