"""What is large: bounded in time and memory, laid in regular strips and told, or refused by
name."""

from __future__ import annotations

import contextlib
import sqlite3
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from shapely.affinity import translate

from geoturf import papers
from geoturf.bid import Bid, read_bid
from geoturf.check.near import inside, near
from geoturf.cuts import whole
from geoturf.cuts.job import Job
from geoturf.cuts.market import Market
from geoturf.cuts.solve import solve
from geoturf.errors import InputError
from geoturf.layout import bound
from geoturf.layout.bound import bound_m2
from geoturf.layout.regular import lay_regular
from geoturf.layout.roll import stocked
from geoturf.layout.shape import shape_of
from geoturf.materials import strips as fabric
from geoturf.pipeline import run
from geoturf.rules import LayoutRules
from geoturf.water.own_table import rows


def ragged(vertices: int, radius_m: float, seed: int = 1) -> shapely.Polygon:
    """An outline of many short edges, with a pond in it."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    radius = radius_m * (1 + 0.1 * np.cos(5 * turn) + 0.002 * rng.normal(size=vertices))
    ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn)])
    return shapely.Polygon(ring, [0.3 * ring[:: vertices // 50]])


def tiles(turf: shapely.Polygon, size_m: float) -> np.ndarray:
    """Boxes over all of a shape; corners (n, 4)."""
    left, bottom, right, top = turf.bounds
    at = np.meshgrid(np.arange(left, right, size_m), np.arange(bottom, top, size_m))
    corner = np.column_stack([one.ravel() for one in at])
    return np.hstack([corner, corner + size_m])


def test_turf_near_a_box_is_the_turf_on_it():
    turf = np.array([ragged(3000, 100), ragged(1000, 50, 2)], dtype=object)
    boxes = [tiles(one, 5.0) for one in turf]
    of = np.repeat([0, 1], [len(b) for b in boxes])
    low, high = np.split(np.vstack(boxes), 2, axis=1)
    box = shapely.box(*low.T, *high.T)
    about = near(turf, of, low, high)
    whole = shapely.area(shapely.intersection(turf[of], box))
    np.testing.assert_allclose(shapely.area(shapely.intersection(about, box)), whole, atol=1e-9)
    np.testing.assert_array_equal(inside(turf, of, low, high), whole > 25 - 1e-9)


def test_each_box_meets_only_the_border_about_it():
    """All of the outline for each of the boxes would be 13 million vertices."""
    turf = ragged(20_000, 100)
    low, high = np.split(tiles(turf, 8.0), 2, axis=1)
    about = near(np.array([turf], dtype=object), np.zeros(len(low), int), low, high)
    assert shapely.get_num_coordinates(about).sum() < 10 * (20_000 + len(low))


def lawns(folder: Path, shapes: list, name: str = "lawns.gpkg", **how: object) -> Path:
    """A file of lawns, in metres of UTM."""
    placed = [translate(shape, 250_000, 4_070_000) for shape in shapes]
    sites = {"site": [f"S{k}" for k in range(len(shapes))]}
    table = geopandas.GeoDataFrame(sites, geometry=placed, crs="EPSG:26911")
    table.to_file(folder / name, engine="pyogrio", **how)
    return folder / name


def bid(folder: Path, path: str, more: str = "") -> Bid:
    text = f'name = "B"\n[[layers]]\npath = "{path}"\n{more}'
    (folder / "bid.toml").write_text(text, encoding="utf-8")
    return read_bid(folder / "bid.toml")


def refusal(one: Bid) -> str:
    """What a run says where it refuses."""
    with pytest.raises(InputError) as refused:
        run(one)
    return "\n".join(finding.line() for finding in refused.value.findings)


ROOM = shapely.box(0, 0, 20, 10)


def test_a_zip_is_judged_by_the_sizes_it_declares(tmp_path):
    """10 MiB of blanks are 10 kB in a zip; nothing of it is unpacked."""
    with zipfile.ZipFile(tmp_path / "lawns.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("lawns.geojson", b"{" + b" " * (10 << 20) + b"}")
    said = refusal(bid(tmp_path, "lawns.zip", "[limits]\nunpacked_mib = 5"))
    assert "lawns.zip: holds GIS files of 10 MiB by its own list" in said
    assert "or raise the limit" in said


def test_geojson_larger_than_is_read_whole_is_refused(tmp_path):
    (tmp_path / "lawns.geojson").write_bytes(b"{" + b" " * (3 << 20) + b"}")
    said = refusal(bid(tmp_path, "lawns.geojson", "[limits]\ntext_mib = 2"))
    assert "is GeoJSON of 3 MiB, more than the 2 MiB" in said


@pytest.mark.parametrize("path", ["tree/**/*.gpkg", "tree"])
def test_a_tree_too_wide_is_not_looked_through(tmp_path, path):
    for k in range(12):
        (tmp_path / "tree" / str(k)).mkdir(parents=True)
    said = refusal(bid(tmp_path, path, "[limits]\nentries = 10"))
    assert "more than 10 files and folders lie below it" in said


def test_a_glob_that_means_too_many_files_is_refused(tmp_path):
    for k in range(3):
        lawns(tmp_path, [ROOM], f"lawns{k}.gpkg")
    assert "means 3 files, more than 2" in refusal(bid(tmp_path, "*.gpkg", "[limits]\nfiles = 2"))


def test_a_file_of_too_many_layers_is_refused(tmp_path):
    for layer in "abc":
        lawns(tmp_path, [ROOM], layer=layer)
    said = refusal(bid(tmp_path, "lawns.gpkg", 'layer = "*"\n[limits]\nlayers = 2'))
    assert "holds 3 layers, more than 2" in said


RECURSES = """
drop table if exists rtree_b_geom; drop table b;
create view b as with recursive n(k) as (select 1 union all select k + 1 from n)
select n.k as fid, a.geom as geom from n, a;
"""
NARROWS = "drop table if exists rtree_b_geom; drop table b; create view b as select * from a;"


def with_view(folder: Path, sql: str) -> None:
    for layer in "ab":
        lawns(folder, [ROOM], layer=layer, layer_options={"SPATIAL_INDEX": "NO"})
    with contextlib.closing(sqlite3.connect(folder / "lawns.gpkg")) as base:
        triggers = base.execute("select name from sqlite_master where type = 'trigger'").fetchall()
        for (name,) in triggers:
            base.execute(f'drop trigger "{name}"')
        base.executescript(sql)


def test_a_view_that_never_ends_is_left_out_by_name(tmp_path):
    with_view(tmp_path, RECURSES)
    said = refusal(bid(tmp_path, "lawns.gpkg", 'layer = "b"'))
    assert "lawns.gpkg, layer b: is a view whose rows are not counted" in said


def test_a_view_that_ends_is_read(tmp_path):
    with_view(tmp_path, NARROWS)
    assert len(run(bid(tmp_path, "lawns.gpkg", 'layer = "b"')).ground.areas) == 1


def test_a_device_is_no_table(tmp_path):
    with pytest.raises(InputError, match="is no regular file"):
        rows(Path("/dev/zero"), "/dev/zero")


@pytest.mark.parametrize(
    ("limit", "said"),
    [
        ("areas = 2", "3 areas to be priced (3 here), more than 2"),
        ("points = 10", "15 points of outlines (15 here), more than 10"),
        ('border = "30 m"', "S0, area 1: one area has 0.0 miles of border, more than"),
        ('turf = "500 m2"', "S0, area 1: 0.1 acres are to be priced"),
    ],
)
def test_more_than_one_run_takes_is_refused_by_name(tmp_path, limit, said):
    lawns(tmp_path, [translate(ROOM, 30 * k, 0) for k in range(3)])
    assert said in refusal(bid(tmp_path, "lawns.gpkg", f"[limits]\n{limit}"))


def test_an_area_of_long_border_is_laid_in_regular_strips_and_told(tmp_path):
    """A comb of 90 teeth of 30 m: 5.76 km of border, some 500 corners, an acre."""
    teeth = shapely.union_all([shapely.box(2 * k, 0, 2 * k + 1, 31) for k in range(90)])
    lawns(tmp_path, [teeth.union(shapely.box(0, 0, 179, 1))])
    result = run(bid(tmp_path, "lawns.gpkg", "[layout]\nregular_border = '5 km'\n"))
    (told,) = [finding for finding in result.findings if finding.code == "regular-strips"]
    assert "3.6 miles of border" in told.message


SMALL = "[layout]\nregular_from = '1 acre'\n"


@pytest.fixture(scope="module")
def park(tmp_path_factory) -> Bid:
    """Some 7 acres of ragged outline with a pond, and a lawn."""
    folder = tmp_path_factory.mktemp("park")
    lawns(folder, [ragged(1500, 95), translate(ROOM, 200, 0)])
    return bid(folder, "lawns.gpkg", SMALL)


def test_a_large_area_is_laid_in_regular_strips_and_told_by_name(park):
    """The check lays the pieces on the ground again: all of it is covered, the seams are as told.
    What is bought lies no lower than the bound, which knows nothing of regular strips."""
    result = run(park)
    told = [finding for finding in result.findings if finding.code == "regular-strips"]
    assert [(finding.site, finding.severity) for finding in told] == [("S0", "warning")]
    pieces = result.plan.pieces[result.plan.pieces["area_index"] == 0]
    wide = (pieces["v1"] - pieces["v0"]).round(6)
    usable = 15 * 0.3048 - 2 * 0.0254  # a roll of 15 ft less its selvage trims
    assert (wide == round(usable, 6)).mean() > 0.9
    assert result.plan.pools["bound_m2"].sum() <= result.plan.pools["bought_m2"].sum()


def test_regular_strips_of_a_large_area_buy_about_what_a_search_does(park):
    # ends of strips are little beside so much turf; which comes out lower hangs on the rolls
    searched = park.model_copy(update={"layout": LayoutRules()})
    regular_m2, searched_m2 = (run(one).plan.pools["bought_m2"].sum() for one in (park, searched))
    assert regular_m2 == pytest.approx(searched_m2, rel=0.03)


def test_in_a_large_bid_every_area_over_an_acre_is_told_in_one_line(tmp_path):
    acre = shapely.box(0, 0, 70, 70)
    lawns(tmp_path, [acre, translate(acre, 100, 0), translate(ROOM, 200, 0)])
    result = run(bid(tmp_path, "lawns.gpkg", "[layout]\nregular_bid = '2 acre'\n"))
    (told,) = [finding for finding in result.findings if finding.code == "regular-strips"]
    assert "each of 2 areas over 1.0 acres" in told.message


def test_of_more_than_a_run_lays_the_largest_areas_are_estimated_and_told(tmp_path):
    """Of areas of 2.4, 1.2 and 0.1 acres under a limit of 1.5 acres the first alone; the second,
    whose site the bid names, is laid whatever the limit."""
    acre = shapely.box(0, 0, 70, 70)
    shapes = [acre, translate(shapely.box(0, 0, 140, 70), 100, 0), translate(ROOM, 300, 0)]
    lawns(tmp_path, shapes)
    result = run(bid(tmp_path, "lawns.gpkg", "[layout]\nlaid_bid = '1.5 acre'\n"))
    (told,) = [finding for finding in result.findings if finding.code == "much-estimated"]
    assert "the 1 largest areas (2.4 acres to 2.4 acres) are estimated" in told.message
    assert result.plan.estimate.areas["area_index"].tolist() == [1]
    assert set(result.plan.pieces["area_index"]) == {0, 2}
    named = "[layout]\nlaid_bid = '1.5 acre'\nlay = ['S1']\n"
    kept = run(bid(tmp_path, "lawns.gpkg", named))
    assert kept.plan.estimate.areas["area_index"].tolist() == [0, 2]


def test_pieces_of_regular_strips_are_whole_rolls_and_what_is_left(park):
    """A strip's pieces join end to end; all but two of them are as long as a roll holds."""
    (roll,) = stocked("p", next(iter(park.products.values())), park.layout)
    shape = shape_of(shapely.box(0, 0, 200, 30))
    (choice,) = lay_regular([shape], [shape], [(roll,)], 90.0)
    (layout,) = choice.layouts
    for v0 in np.unique(layout.pieces[:, 2]):
        mine = layout.pieces[layout.pieces[:, 2] == v0]
        mine = mine[np.argsort(mine[:, 0])]
        np.testing.assert_allclose(mine[1:, 0], mine[:-1, 1])
        whole = np.isclose(mine[:, 1] - mine[:, 0], roll.longest_m)
        assert whole.sum() >= len(mine) - 2
    assert layout.seam_m == pytest.approx(
        200 * (len(np.unique(layout.pieces[:, 2])) - 1) + 30 * 6, rel=0.01
    )


@pytest.mark.parametrize("count", [whole.MANY - 1, whole.MANY + 100])
def test_pieces_that_take_whole_rolls_change_no_plan(count):
    """So many whole rolls beside a hundred strips of half a roll, two of which fill one."""
    size, demand = np.array([[100, 10], [50, 10]]), np.array([count, 100])
    market = Market(1.0, (1.0,), (1.0,), 0.0)
    cut = solve(Job(0.01, 10, (100,), market, size, demand))
    assert len(cut.bought) == count + 50
    assert cut.bound_m == pytest.approx(count + 50)


def test_fabric_on_a_ragged_area_is_as_long_as_on_all_of_it(monkeypatch):
    shapes = np.array([ragged(3000, 100), ragged(2000, 60, 2)], dtype=object)
    few = fabric.strips(shapes, 3.8, 91.4, 0.3)
    monkeypatch.setattr(fabric, "RAGGED", 10**9)
    every = fabric.strips(shapes, 3.8, 91.4, 0.3)
    np.testing.assert_allclose(few, every, rtol=1e-12)


def test_the_bound_of_an_outline_of_very_many_corners_is_that_of_its_area(park, monkeypatch):
    (roll,) = stocked("p", next(iter(park.products.values())), park.layout)
    shape = shape_of(ragged(1500, 95))
    sharp = bound_m2(shape, (roll,), np.nan)
    monkeypatch.setattr(bound, "AREA_DOES", 1000)
    least = roll.width_m / roll.usable_m * shape.area_m2
    assert bound_m2(shape, (roll,), np.nan) == pytest.approx(least, rel=1e-5)
    assert least < sharp


@pytest.mark.parametrize(
    "more",
    [
        '[layout]\nnesting = "slanted"\n',
        "[layout]\nbearing = 30\n",
        '[layout]\ncut_step = "1/4 in"\n',
        '[products.t]\nsold_by = "roll"\nprice = "3000 USD/roll"\n',
        '[products.t]\nroll_width = "12 ft"\nroll_lengths = ["50 ft", "100 ft"]\n',
        '[[cuts.stock]]\nproduct = "turf60"\nwidth = "12 ft"\nlength = "40 ft"\n',
    ],
)
def test_regular_strips_keep_every_promise_under_other_rules(tmp_path, more):
    """A run looks its own result through and refuses it where a promise is broken."""
    lawns(tmp_path, [ragged(400, 30), translate(ROOM, 100, 0)])
    head, _, rest = more.partition("\n")
    rules = f"{head}\n{rest}" if head == "[layout]" else f"[layout]\n{more}"
    text = rules.replace("[layout]\n", "[layout]\nregular_from = '100 m2'\n", 1)
    result = run(bid(tmp_path, "lawns.gpkg", text))
    assert sum(finding.code == "regular-strips" for finding in result.findings) == 2


def test_areas_seen_together_share_a_bearing_in_regular_strips_too(tmp_path):
    path = lawns(tmp_path, [ragged(400, 30), translate(shapely.box(0, 0, 5, 40), 100, 0)])
    geopandas.read_file(path).assign(view="front").to_file(path, engine="pyogrio")
    result = run(bid(tmp_path, "lawns.gpkg", "[layout]\nregular_from = '500 m2'\n"))
    one, other = result.plan.chosen["pile_bearing_deg"]
    assert one == other


@pytest.mark.parametrize("limit", ["MANY_PIECES", "MANY_POINTS", ""])
def test_papers_of_very_many_pieces_are_printed_only_where_asked(tmp_path, monkeypatch, limit):
    lawns(tmp_path, [ROOM])
    result = run(bid(tmp_path, "lawns.gpkg"))
    if limit:
        monkeypatch.setattr(papers, limit, 1)
    (tmp_path / "out").mkdir()
    papers.write(result, tmp_path / "out", None)
    printed = (tmp_path / "out" / "crew" / "labels.pdf").exists()
    assert printed is (limit == "")
