"""Turf estimated instead of laid: beside layouts of the same shapes, over its bound, and said to be
estimated wherever it is printed."""

from __future__ import annotations

import csv
from dataclasses import replace

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from shape_kinds import shapes
from shapely.affinity import rotate, translate

import geoturf
from geoturf import tables
from geoturf.check import broken_promises
from geoturf.cli import main
from geoturf.cuts import packed
from geoturf.errors import BidError
from geoturf.layout import bounds, likely, task_of
from geoturf.layout.estimate import bounds_m2, inner_corners, ragged
from geoturf.layout.roll import stocked
from geoturf.model import ESTIMATED
from geoturf.rules import LayoutRules, Product

AT = (250_000, 4_070_000)


def written(folder, made):
    """Shapes as a layer, one a site, and the bid of it."""
    moved = [
        translate(one, AT[0] + 100 * (k % 10), AT[1] + 100 * (k // 10))
        for k, one in enumerate(made)
    ]
    names = {"site": [f"S{k}" for k in range(len(made))]}
    table = geopandas.GeoDataFrame(names, geometry=moved, crs="EPSG:26911")
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    return {"layers": [{"path": "lawns.gpkg"}], "folder": str(folder)}


def run(bid, **layout):
    return geoturf.run(geoturf.make_bid(bid | {"layout": layout}))


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Fifty L-shaped lawns and walks cut out of yards, not those that were fitted on: estimated,
    laid, and laid in part."""
    made = shapes("L-shaped", 25, seed=5) + shapes("yards", 25, seed=6)
    bid = written(tmp_path_factory.mktemp("lawns"), made)
    some = ["S0", "S7", "S31"]
    return {
        "laid": run(bid),
        "estimated": run(bid, method="estimate"),
        "in part": run(bid, method="estimate", lay=some),
        "alone": run(bid | {"layers": [{"path": _only(bid, some)}]}),
    }


def _only(bid, sites):
    """A layer of some of the sites."""
    table = geopandas.read_file(f"{bid['folder']}/lawns.gpkg")
    path = f"{bid['folder']}/some.gpkg"
    table[table["site"].isin(sites)].to_file(path, engine="pyogrio")
    return path


def test_a_pool_is_estimated_within_what_is_told_of_it(both):
    laid, told = (both[name].plan.pools.iloc[0] for name in ("laid", "estimated"))
    off = told["bought_m2"] - laid["bought_m2"]
    assert abs(off) < 0.02 * laid["bought_m2"]
    assert abs(off) < 3 * told["sigma_m2"]
    assert told["sigma_m2"] < 0.03 * told["bought_m2"]


def test_areas_are_estimated_within_what_is_told_of_them(both):
    """The share of each in a pool's turf: two in three within one sigma or so."""
    laid, told = (both[name].plan.chosen for name in ("laid", "estimated"))
    off = (told["turf_bought_m2"] - laid["turf_bought_m2"]).abs() / told["sigma_m2"]
    assert (off < 1).mean() > 0.5
    assert (off < 3).mean() > 0.9


def test_seams_and_price_come_near_those_of_a_layout(both):
    """Three per cent of the price: turf, its seams and their work are a third of it."""
    laid, told = both["laid"], both["estimated"]
    seams = [one.plan.chosen["seam_m"].sum() for one in (told, laid)]
    assert seams[0] == pytest.approx(seams[1], rel=0.12)
    prices = [float(one.price.totals["price"]) for one in (told, laid)]
    assert prices[0] == pytest.approx(prices[1], rel=0.03)


def test_what_does_not_hang_on_a_layout_is_the_same(both):
    columns = ["ground_area_m2", "surface_area_m2", "perimeter_m"]
    laid, told = both["laid"], both["estimated"]
    pd.testing.assert_frame_equal(told.ground.areas[columns], laid.ground.areas[columns])
    pd.testing.assert_frame_equal(told.edges.totals, laid.edges.totals)


def test_sites_that_are_laid_are_laid_as_in_a_run_of_their_own(both):
    part, alone = both["in part"], both["alone"]
    plain = ["piece", "u0", "u1", "v0", "v1", "bearing_deg", "roll", "along_m", "length_m"]
    pd.testing.assert_frame_equal(part.plan.pieces[plain], alone.plan.pieces[plain])
    pools = part.plan.pools
    assert pools["bought_m2"].iloc[0] == alone.plan.pools["bought_m2"].iloc[0]
    assert pools["status"].iloc[1] == ESTIMATED
    rows = part.plan.pieces["area_index"].unique()
    assert sorted(part.ground.areas["site"].iloc[rows]) == ["S0", "S31", "S7"]
    table = tables.areas(part).set_index("site")["turf"]
    assert table[table == "laid"].index.tolist() == ["S0", "S7", "S31"]


@pytest.mark.parametrize("kind", ["lots", "blobs", "triangles", "small", "courts"])
def test_an_estimate_is_not_under_the_bound_of_any_layout(kind, tmp_path):
    """The bound told without a layout is no more than the one proven for any rectangles
    (`geoturf.layout.covers`), and what is bought no less than that."""
    result = run(written(tmp_path, shapes(kind, 20, seed=9)), method="estimate")
    task = task_of(result.ground, result.bid.products, result.bid.layout)
    proven = bounds(task, geoturf.engine.Serial())[:, 0]
    areas = result.plan.estimate.areas
    assert (areas["bound_m2"].to_numpy() <= proven * (1 + 1e-9)).all()
    assert (areas["turf_m2"] >= areas["bound_m2"]).all()
    pool = result.plan.pools.iloc[0]
    assert pool["bound_m2"] <= pool["bought_m2"]
    assert pool["bought_m2"] >= proven.sum()


def test_the_bound_of_a_rectangle_by_hand():
    """Its ground and an allowance at both ends of each line along its longer side, over the usable
    part of the width."""
    rules = LayoutRules()
    roll = stocked("turf", Product(), rules)[0]
    lawn = np.array([shapely.box(0, 0, 20, 9), rotate(shapely.box(0, 0, 20, 9), 33)])
    by_hand = 4.572 / (4.572 - 2 * 0.0254) * (180 + rules.both_ends_m * 9)
    assert bounds_m2(lawn, shapely.area(lawn), roll) == pytest.approx([by_hand] * 2, rel=1e-5)


def test_inner_corners_are_those_that_turn_into_turf():
    """An L has one, a U two, a lawn about a house its four; curves and plain lots have none."""
    square, notch = shapely.box(0, 0, 20, 20), shapely.box(8, 8, 12, 30)
    lawns = {
        "L": (square - shapely.box(8, 8, 30, 30), 1),
        "U": (square - notch, 2),
        "ring": (square - shapely.box(5, 5, 10, 10), 4),
        "two": (shapely.MultiPolygon([square, translate(square - notch, 40)]), 2),
        "circle": (shapely.Point(0, 0).buffer(9), 0),
        "lot": (square, 0),
    }
    shapes_, counts = zip(*lawns.values(), strict=True)
    assert inner_corners(np.array(shapes_, object)).tolist() == list(counts)


def test_turned_and_moved_it_is_the_same(tmp_path):
    lawn = shapes("yards", 1, seed=3)[0]
    turned = [rotate(lawn, angle, origin=(0, 0)) for angle in (0, 17, 45, 90, 133)]
    result = run(written(tmp_path, turned), method="estimate")
    turf = result.plan.estimate.areas["turf_m2"]
    assert turf.to_numpy() == pytest.approx([turf[0]] * 5, rel=2e-3)


def test_a_small_pool_takes_more_than_its_part_of_a_large_one(tmp_path):
    bid = written(tmp_path, shapes("yards", 20, seed=4))
    pooled = run(bid, method="estimate").plan.pools["bought_m2"].sum()
    apart = run(bid | {"cuts": {"pool": "site"}}, method="estimate").plan.pools["bought_m2"]
    assert apart.sum() > 1.03 * pooled


def test_whole_rolls_are_bought_as_they_are_sold(tmp_path):
    turf = {"turf60": {"sold_by": "roll", "roll_lengths": ["100 ft", "50 ft"]}}
    bid = written(tmp_path, shapes("yards", 7, seed=4)) | {"products": turf}
    result = run(bid, method="estimate")
    bought = result.plan.estimate.bought
    assert set(np.round(bought["length_m"] / 0.3048)) <= {50, 100}
    assert (bought["total_m"] == bought["rolls"] * bought["length_m"]).all()


def test_pieces_longer_than_half_a_roll_share_none():
    """By hand: pieces of 0.6 roll take one each, so two thirds more than they are; pieces of a
    quarter of a roll or less fill it; one long and two short ones go together."""
    count = np.zeros((3, 4))
    count[0, 2], count[1, 0] = 10, 8  # classes of a quarter of a roll, counted at 3/4 of each
    count[2, 2], count[2, 0] = 10, 10
    long, short = 2.75 / 4, 0.75 / 4
    alone, small, mixed = packed.over(count)
    assert alone == pytest.approx(1 / long - 1)
    assert small == pytest.approx(1 / (5 * short) - 1)
    assert mixed == pytest.approx(10 / (10 * long + 10 * short) - 1)


def test_pieces_are_counted_by_their_part_of_a_roll():
    """A lawn of 20 by 9.04 m, two strips wide, has 20 m of each in rolls of 100 ft; of 50 ft two
    halves each."""
    lawn = np.array([shapely.box(0, 0, 20, 2 * 4.5212)])
    for length, count, parts in (("100 ft", 2, 1), ("50 ft", 4, 2)):
        roll = stocked("turf", Product(roll_lengths=[length]), LayoutRules())[0]
        counts = likely.lengths(*ragged(lawn), np.array([90.0]), roll.numbers)[0]
        (at,) = np.flatnonzero(counts)
        assert counts[at] == pytest.approx(count, rel=1e-3)
        part = (20 / parts + roll.ends_m) / (roll.longest_m + roll.ends_m)
        assert at / likely.LENGTHS <= part <= (at + 1) / likely.LENGTHS


def test_whole_rolls_of_lots_as_long_as_half_a_roll_waste_what_is_left_over(tmp_path):
    """Twelve lots of 18 m, four strips each: of rolls of 100 ft a strip leaves two fifths."""
    made = [shapely.box(0, 0, 18, 4 * 4.5212)] * 12
    turf = {"turf60": {"sold_by": "roll", "roll_lengths": ["100 ft"]}}
    bid = written(tmp_path, made)
    rolls = run(bid | {"products": turf}, method="estimate").plan.pools["bought_m2"].sum()
    length = run(bid, method="estimate").plan.pools["bought_m2"].sum()
    assert 1.35 < rolls / length < 1.75


# ------------------------------------------------------------------------------- what is said


@pytest.fixture(scope="module")
def report(both, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report") / "out"
    geoturf.write(both["estimated"], folder, ("client", "buyer", "crew", "portfolio"))
    return folder


def test_everything_says_that_it_is_estimated(both, report):
    said = dict(tables.summary(both["estimated"]))
    assert all(said[word].endswith(", estimated") for word in ("turf bought", "price"))
    for page in ("index.html", "portfolio.html"):
        assert "estimated from their shapes, not laid" in (report / page).read_text("utf-8")
    rows = list(csv.DictReader((report / "areas.csv").open(encoding="utf-8")))
    assert {row["turf"] for row in rows} == {ESTIMATED}
    assert all(float(row["turf_sigma_ft2"]) > 0 for row in rows)
    (pool,) = csv.DictReader((report / "cut_plan.csv").open(encoding="utf-8"))
    assert pool["status"] == ESTIMATED and float(pool["bought_sigma_ft2"]) > 0
    assert pool["by_hand_ft2"] == ""
    (turf,) = (row for row in _rows(report / "materials.csv") if "estimated" in row["basis"])
    assert turf["basis"].startswith("estimated from the shapes, not laid")
    assert any(row["code"] == "estimated" for row in _rows(report / "findings.csv"))


def test_the_proposal_says_so(report):
    pypdf = pytest.importorskip("pypdf")
    pages = pypdf.PdfReader(report / "client" / "proposal.pdf").pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "estimated from their shapes and not laid out" in text


def test_nothing_is_cut_or_ordered_by_an_estimate(report):
    written = {path.relative_to(report).as_posix() for path in report.rglob("*")}
    assert not [name for name in written if name.startswith(("crew", "buyer"))]
    assert not written & {"pieces.csv", "rolls.csv", "left_overs.csv", "work_order.csv"}


def _rows(path):
    return list(csv.DictReader(path.open(encoding="utf-8")))


def test_a_laid_bid_has_no_columns_of_estimates(both):
    assert "turf_sigma_ft2" not in tables.areas(both["laid"])
    assert both["laid"].plan.estimate is None


def test_a_site_that_is_not_there_is_refused(tmp_path):
    bid = written(tmp_path, shapes("yards", 2, seed=1))
    with pytest.raises(BidError, match="'S9' is to be laid, and no site is called so"):
        run(bid, method="estimate", lay=["S9"])


def test_the_command_line_estimates_and_lays(tmp_path, capsys):
    written(tmp_path, shapes("yards", 3, seed=1))
    layer, out = str(tmp_path / "lawns.gpkg"), str(tmp_path / "out")
    assert main(["run", layer, "--out", out, "--papers", "none", "--lay", "S1"]) == 0
    assert "partly estimated" in capsys.readouterr().out
    turf = {row["site"]: row["turf"] for row in _rows(tmp_path / "out" / "areas.csv")}
    assert turf == {"S0": ESTIMATED, "S1": "laid", "S2": ESTIMATED}


def test_a_lone_lot_that_is_estimated_is_told_by_its_site(tmp_path):
    """Bought alone as it is, it would be its phase's."""
    written(tmp_path, shapes("yards", 1, seed=1))
    layer, out = str(tmp_path / "lawns.gpkg"), str(tmp_path / "out")
    assert main(["run", layer, "--out", out, "--papers", "none", "--estimate"]) == 0
    assert {row["site"] for row in _rows(tmp_path / "out" / "materials_by_site.csv")} == {"S0"}


# ------------------------------------------------------------------------------ planted faults


def _areas(result, **columns):
    estimate = result.plan.estimate
    areas = estimate.areas.assign(**columns)
    return _planned(result, estimate=replace(estimate, areas=areas))


def _planned(result, **parts):
    return replace(result, plan=replace(result.plan, **parts))


FAULTS = {
    "estimate-not-once": lambda one: _areas(one, area_index=one.plan.estimate.areas.index % 49),
    "estimate-under-ground": lambda one: _areas(one, turf_m2=1.0),
    "estimate-sums": lambda one: _planned(one, pools=one.plan.pools.assign(sigma_m2=0.0)),
    "estimate-untold": lambda one: replace(one, findings=()),
}


@pytest.mark.parametrize("code", FAULTS)
def test_a_planted_fault_is_found(both, code):
    assert broken_promises(both["estimated"]) == ()
    assert code in {finding.code for finding in broken_promises(FAULTS[code](both["estimated"]))}
