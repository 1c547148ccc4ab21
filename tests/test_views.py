"""Areas that are seen together, told by the data: small invented streets, a park, paths."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from layout_cases import RULES, TURF, ground_of
from shapely.affinity import rotate, translate

from geoturf import pipeline
from geoturf.bid import make_bid
from geoturf.draft import draft
from geoturf.engine import Serial
from geoturf.layout import lay, seen_together, task_of, told_views
from geoturf.model import Ground

AUTO = RULES.model_copy(update={"view": "auto"})
STIFF = AUTO.model_copy(update={"view_turn": 0.0})
HERE = np.zeros((1, 2))
FRONT, HOUSE = shapely.box(0, 0, 12, 7), shapely.box(0, 8, 14, 18)


def land(areas: dict[str, shapely.Geometry], **around) -> Ground:
    """Areas by "site/area", and what lies around them by role."""
    context = [(role, 0, shape) for role, shapes in around.items() for shape in shapes]
    made = ground_of(
        *areas.values(), context=pd.DataFrame(context, columns=["role", "frame", "geometry"])
    )
    names = [name.split("/") for name in areas]
    table = made.areas.assign(site=[a for a, _ in names], area=[b for _, b in names], use="")
    return replace(made, areas=table)


def groups(ground: Ground, rules=AUTO) -> set[frozenset[str]]:
    """The areas of each view, by "site/area"."""
    table = seen_together(ground, rules, HERE).areas
    named = (table["site"] + "/" + table["area"]).groupby(table["view"])
    return {frozenset(some) for view, some in named if view}


def row_of(count: int, turn: float = 0.0, side: str = "N"):
    """Lots along a street that runs along x: front yards and houses, 18 m apart; ``side`` S: across
    the street, mirrored. The whole turned."""

    def laid(shape, k):
        there = translate(shape, 18 * k, 6)
        there = shapely.transform(there, lambda xy: xy * [1, -1 if side == "S" else 1])
        return rotate(there, turn, origin=(0, 0))

    names = [f"{side}{k}/front" for k in range(count)]
    fronts = {name: laid(FRONT, k) for k, name in enumerate(names)}
    return fronts, [laid(HOUSE, k) for k in range(count)]


@pytest.mark.parametrize("turn", [0, 33, 90, 200])
def test_front_yards_of_one_side_of_a_street_are_one_view_and_those_across_another(turn):
    (north, houses), (south, others) = row_of(4, turn), row_of(3, turn, "S")
    found = groups(land(north | south, building=houses + others))
    assert found == {frozenset(north), frozenset(south)}


def test_a_street_line_tells_front_yards_that_no_name_does():
    """Yards of no telling name: those that see the street, and none behind a house."""
    fronts, houses = row_of(3)
    yards = {name.replace("front", "1"): shape for name, shape in fronts.items()}
    behind = {f"N{k}/2": translate(shapely.box(0, 19, 14, 25), 18 * k, 6) for k in range(3)}
    street = shapely.LineString([(-20, 0), (80, 0)])
    assert groups(land(yards | behind, building=houses, street=[street])) == {frozenset(yards)}
    assert groups(land(yards | behind, building=houses)) == set()


def test_a_gap_and_a_bend_part_a_row():
    fronts, houses = row_of(6)
    gone = [name for k, name in enumerate(fronts) if k != 2]  # a lot of 18 m left out: a 24 m gap
    some = {name: fronts[name] for name in gone}
    assert groups(land(some, building=houses)) == {frozenset(gone[:2]), frozenset(gone[2:])}
    # around a corner: the second street starts beside the first and faces 90 degrees away
    turned = [rotate(shape, -90, origin=(110, 4)) for shape in (*fronts.values(), *houses)]
    corner = {f"E{k}/front": shape for k, shape in enumerate(turned[:6])}
    assert groups(land(fronts | corner, building=houses + turned[6:])) == {
        frozenset(fronts),
        frozenset(corner),
    }


def test_yards_about_a_turning_place_face_as_their_houses_do():
    """Houses 45 degrees apart, each yard to one side of its house's front, 3 m from the next: from
    house to yard it is 22 degrees, as in a row."""
    house, yard, beside = (
        shapely.box(-6, 6, 6, 16),
        shapely.box(-6, -3, 2, 5),
        shapely.box(-2, -3, 6, 5),
    )
    next_house, next_yard = (rotate(one, -45, origin=(0, -12)) for one in (house, beside))
    yards = {"A/front": yard, "B/front": next_yard}
    assert groups(land(yards, building=[house, next_house])) == set()


def test_areas_of_a_park_are_one_view_and_those_that_a_path_parts_beside_a_house():
    west, east, far = (translate(shapely.box(0, 0, 9, 9), x, 0) for x in (0, 11, 60))
    assert groups(land({"P/1": west, "P/2": east, "P/3": far})) == {
        frozenset({"P/1", "P/2", "P/3"})
    }
    house = shapely.box(25, 2, 40, 8)  # among them: a path of 2 m still parts two that are one view
    assert groups(land({"P/1": west, "P/2": east, "P/3": far}, building=[house])) == {
        frozenset({"P/1", "P/2"})
    }
    assert groups(land({"P/1": west, "Q/2": east})) == set()  # another site's


def test_what_states_a_view_or_a_bearing_keeps_it_and_given_changes_nothing():
    fronts, houses = row_of(4)
    ground = land(fronts, building=houses)
    table = ground.areas.assign(view=["", "mine", "", ""], pile_bearing_deg=[np.nan] * 3 + [12.0])
    own = replace(ground, areas=table)
    made = seen_together(own, AUTO, HERE).areas
    assert made["view"].tolist()[1] == "mine" and made["view"].tolist()[3] == ""
    assert seen_together(own, RULES, HERE) is own


def test_names_are_new_and_views_hang_on_no_order():
    fronts, houses = row_of(3)
    ground = land(fronts, building=houses)
    given = replace(ground, areas=ground.areas.assign(view=["", "", "front yards 1"]))
    assert set(seen_together(given, AUTO, HERE).areas["view"]) == {"front yards 1", "front yards 2"}
    for order in permutations(range(3)):
        turned = replace(ground, areas=ground.areas.iloc[list(order)].reset_index(drop=True))
        assert groups(turned) == {frozenset(fronts)}


def test_the_pile_of_a_view_leans_one_way_at_a_cost_that_is_told():
    """The cost again from runs with the bearing free."""
    fronts, houses = row_of(4)
    slanted = {name: rotate(shape, 7 * k - 10) for k, (name, shape) in enumerate(fronts.items())}
    seen = seen_together(land(slanted, building=houses), STIFF, HERE)
    choices = lay(task_of(seen, {"turf60": TURF}, STIFF), Serial())
    free = lay(task_of(land(slanted), {"turf60": TURF}, RULES), Serial())
    assert len({round(layout.bearing_deg, 6) for one in choices for layout in one.layouts}) == 1
    (said,) = told_views(seen, choices, AUTO, HERE)
    least = [min(layout.cost for layout in one.layouts) for one in choices]
    best = [
        min(cost, *(layout.cost for layout in one.layouts))
        for cost, one in zip(least, free, strict=True)
    ]
    more = 100 * (sum(least) - sum(best)) / sum(least)
    assert said.code == "views-told" and more > 0.1
    told = float(said.message.split("they take ")[1].split(" %")[0])
    assert told == pytest.approx(more, abs=0.02 + 0.1 * more)


def bent(count: int, turn: float) -> dict[str, shapely.Geometry]:
    """Front yards along a street that bends by ``turn`` degrees a lot."""
    fronts, _ = row_of(count)
    return {name: rotate(shape, turn * k) for k, (name, shape) in enumerate(fronts.items())}


def leaning(fronts: dict[str, shapely.Geometry], houses, rules) -> np.ndarray:
    """The bearing that each is laid at; houses stand straight, behind them."""
    seen = seen_together(land(fronts, building=houses), rules, HERE)
    assert seen.areas["view"].eq("front yards 1").all()
    choices = lay(task_of(seen, {"turf60": TURF}, rules), Serial())
    assert all(len({layout.bearing_deg for layout in one.layouts}) == 1 for one in choices)
    return np.array([one.layouts[0].bearing_deg for one in choices])


def test_lots_of_a_row_lean_as_their_street_bends():
    """Rectangles: each is laid along its own sides, 4 degrees from the next; or all exactly one
    way."""
    houses = row_of(4)[1]
    found = leaning(bent(4, 4.0), houses, AUTO)
    assert np.diff(found) == pytest.approx([-4.0] * 3, abs=1e-6)
    assert np.ptp(leaning(bent(4, 4.0), houses, STIFF)) == 0.0


def test_no_two_lots_of_a_row_lean_further_apart_than_twice_what_they_may():
    """9 degrees from the next, 27 in all, where 20 are allowed."""
    houses = row_of(4)[1]
    off = leaning(bent(4, 9.0), houses, AUTO.model_copy(update={"view_turn": 10.0}))
    assert 10 < np.ptp((off - off[0] + 180) % 360 - 180) <= 20 + 1e-6


def test_lots_of_a_plan_in_a_row_that_bends_are_laid_alike(tmp_path):
    """L-shaped yards on both sides of a street that bends, every other one mirrored: one layout, at
    every lot's own lean, and the check finds nothing; all exactly one way they cannot be."""
    ell = shapely.Polygon([(0, 0), (12, 0), (12, 7), (5, 7), (5, 11), (0, 11)])
    other = shapely.transform(ell, lambda xy: [12, 0] + xy * [-1, 1])
    yards = [translate(rotate(ell if k % 2 else other, 3 * k), 18 * k, 6) for k in range(4)]
    yards += [translate(rotate(one, 180, origin=(30, 0)), 0, -8) for one in yards]
    at = [translate(one, 250_000, 4_070_000) for one in yards]
    names = {"site": [f"s{k}" for k in range(8)], "area": "front"}
    geopandas.GeoDataFrame(names, geometry=at, crs="EPSG:26911").to_file(tmp_path / "lawns.gpkg")
    street = shapely.LineString([(249_900, 4_070_001), (250_200, 4_070_001)])
    lines = geopandas.GeoDataFrame(geometry=[street], crs="EPSG:26911")
    lines.to_file(tmp_path / "street.gpkg")
    layers = [{"path": "lawns.gpkg"}, {"path": "street.gpkg", "role": "street"}]
    bid = {"folder": str(tmp_path), "layers": layers}
    sizes = {}
    for turn in ("10 deg", "0 deg"):
        made = pipeline.run(make_bid(bid | {"layout": {"view": "auto", "view_turn": turn}}))
        assert (made.ground.areas["view"] != "").all()
        pieces = made.plan.pieces.groupby("area_index")[["length_m", "width_m"]]
        sizes[turn] = {str(sorted(map(tuple, one.round(6).to_numpy()))) for _, one in pieces}
    assert len(sizes["10 deg"]) == 1 < len(sizes["0 deg"])


def test_both_areas_of_a_lot_lean_exactly_one_way():
    """One lot has two, a drive apart, the second askew: they lean as each other does, whatever the
    row."""
    fronts = bent(3, 4.0)
    fronts["N1/front, left"] = rotate(translate(shapely.box(0, 0, 3, 7), 14 - 29 + 18, 6), 7)
    found = leaning(fronts, row_of(3)[1], AUTO)
    assert found[3] == found[1] and abs(found[0] - found[2]) == pytest.approx(8.0, abs=1e-6)


def test_where_two_views_meet_is_told():
    """Two rows that touch at a corner, leaning apart; one view, or piles that lean alike, and
    nothing is said."""
    one, other = shapely.box(0, 0, 12, 7), rotate(shapely.box(0, 0, 12, 7), 30, origin=(0, 0))
    beside = translate(other, 12.5, 0)
    ground = land({"A/1": one, "B/1": beside})
    for views, count in ((["x", "y"], 1), (["x", "x"], 0)):
        seen = replace(ground, areas=ground.areas.assign(view=views))
        choices = lay(task_of(seen, {"turf60": TURF}, RULES), Serial())
        said = told_views(seen, choices, RULES, HERE)
        assert [one.code for one in said] == ["views-meet"] * count
    assert told_views(ground, choices, RULES, HERE) == ()


def test_lots_that_are_frames_of_their_own_are_seen_as_neighbours(tmp_path):
    """A whole run, each site in a ground frame of its own: one view a side, one bearing a view."""
    (north, houses), (south, others) = row_of(3), row_of(3, side="S")
    names = [*north, *south]
    at = [translate(shape, 250_000, 4_070_000) for shape in (*north.values(), *south.values())]
    crs = "EPSG:26911"
    geopandas.GeoDataFrame(
        {"site": [n[:2] for n in names], "area": "front"}, geometry=at, crs=crs
    ).to_file(tmp_path / "lawns.gpkg")
    geopandas.GeoDataFrame(
        geometry=[translate(shape, 250_000, 4_070_000) for shape in houses + others], crs=crs
    ).to_file(tmp_path / "houses.gpkg")
    layers = [{"path": "lawns.gpkg"}, {"path": "houses.gpkg", "role": "building"}]
    made = pipeline.run(
        make_bid({"folder": str(tmp_path), "layers": layers, "layout": {"view": "auto"}})
    )
    views = made.ground.areas["view"].tolist()
    assert views == ["front yards 1"] * 3 + ["front yards 2"] * 3
    bearing = made.plan.chosen["pile_bearing_deg"].round(6)
    assert (bearing.groupby(views).agg(np.ptp) < 0.001).all()  # true north of each frame
    assert any(finding.code == "views-told" for finding in made.findings)


def test_a_draft_proposes_it(tmp_path):
    lawn = translate(FRONT, 250_000, 4_070_000)
    geopandas.GeoDataFrame(geometry=[lawn], crs="EPSG:26911").to_file(tmp_path / "lawns.gpkg")
    written = draft([str(tmp_path / "lawns.gpkg")])
    assert '\n[layout]\nview = "auto"' in written
