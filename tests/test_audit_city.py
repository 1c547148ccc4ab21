"""The audit of very many areas: looked at by arrays, some at a time, and held to the same as one
area looked at by itself."""

import csv
import threading

import numpy as np
import pytest
import shapely

from geoturf.audit import edges, folder, parts

REACH_M = 0.0762  # three inches, as a bid has it
LAWN = shapely.box(0, 0, 10, 10)
#: a wall beside the lawn's east side, and what of its 40 m of border can be told to lie open
WALLS = {
    "touching": (shapely.box(10, 0, 11, 10), 10.0, 30.0),
    "five centimetres off": (shapely.box(10.05, 0, 11, 10), 10.0, 30.0),
    "five centimetres off, told open": (shapely.box(10.05, 0, 11, 10), 0.0, 40.0),
    "half over it, told open": (shapely.box(9.5, 0, 11, 10), 0.0, 40.0),
    "a foot off": (shapely.box(10.3, 0, 11, 10), 0.0, 40.0),
}
#: what no look round can find
WRONG = {
    "touching, told open": (shapely.box(10, 0, 11, 10), 0.0, 40.0),
    "a foot off, told along": (shapely.box(10.3, 0, 11, 10), 10.0, 30.0),
    "along half, told along all": (shapely.box(10, 0, 11, 5), 10.0, 30.0),
}


def held(cases):
    """Whether each area's edges lie within their bounds, all looked at together."""
    walls = np.array([wall for wall, _, _ in cases], object)
    lawns = np.array([LAWN] * len(walls), object)
    lines = shapely.boundary(lawns)
    none = np.empty(0, np.intp), np.empty(0, object)
    about = {"building": (np.arange(len(walls)), walls), "paving": none, "shared": none}
    borders = edges._Borders(lawns, lines, shapely.length(lines), about)
    told = {"building": [one for _, one, _ in cases], "open": [one for _, _, one in cases]}
    told = {kind: np.array(told.get(kind, [0.0] * len(walls))) for kind in edges._WORDS}
    bounds = edges._bounds(borders, told, REACH_M)
    each = [(low <= told[kind]) & (told[kind] <= high) for kind, (low, high) in bounds.items()]
    return np.all(each, axis=0).tolist()


def test_edges_that_can_be_told_so_are_held():
    """Within the tolerance a wall may be told along the lawn or not; one that overlaps the lawn
    says nothing sure."""
    assert held(list(WALLS.values())) == [True] * len(WALLS)


def test_edges_told_wrong_are_met_among_others_that_are_right():
    cases = [*WRONG.values(), *WALLS.values()]
    assert held(cases) == [False] * len(WRONG) + [True] * len(WALLS)


def test_few_areas_are_looked_at_with_care(monkeypatch):
    """One wall stands off, fifty touch: what touches settles those."""
    looked = []
    near = edges._near

    def counted(borders, *more):
        looked.append(len(borders.line))
        return near(borders, *more)

    monkeypatch.setattr(edges, "_near", counted)
    assert all(held([WALLS["touching"]] * 50 + [WALLS["five centimetres off"]]))
    assert set(looked) == {1}


def test_things_that_overlap_each_other_count_once():
    """Two walls, one over the other, along the same ten metres."""
    walls = np.array([shapely.box(10, 0, 11, 10), shapely.box(10, 2, 12, 8)], object)
    line = np.array([shapely.boundary(LAWN)], object)
    about = {"building": (np.zeros(2, np.intp), walls)}
    borders = edges._Borders(np.array([LAWN], object), line, np.array([40.0]), about)
    assert edges._touched(borders, "building") == pytest.approx(10, abs=0.01)
    assert edges._near(borders, "building", REACH_M) == pytest.approx(10, abs=0.2)


@pytest.mark.parametrize("count", [0, 1, 2000, 4001])
def test_work_by_parts_meets_every_area_once_and_in_order(count):
    areas = np.arange(count)
    done = parts.by_parts(lambda rows: areas[rows], count)
    assert np.concatenate([np.empty(0, int), *done]).tolist() == areas.tolist()


def test_without_memory_for_threads_all_is_done_in_this_one(monkeypatch):
    def none(self):
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", none)
    assert len(parts.by_parts(lambda rows: rows, 9000)) == 5
    with parts.beside(lambda: "done") as wait:
        assert wait() == "done"


def test_a_table_is_read_as_it_stands_without_apostrophes_of_spreadsheets(tmp_path):
    """More rows than are read at a time, some with apostrophes; against the csv module."""
    rows = [["site", "note"], *([f"S{k % 7}", f"'=note {k}, 'so'"] for k in range(25_000))]
    with (tmp_path / "areas.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    table = folder._table(tmp_path / "areas.csv")
    assert table.text("site") == [row[0] for row in rows[1:]]
    assert table.text("note") == [row[1].replace("'", "") for row in rows[1:]]
    assert table.rows()[3] == {"site": "S3", "note": "=note 3, so"}


def test_a_table_whose_rows_differ_in_length_is_refused(tmp_path):
    (tmp_path / "areas.csv").write_text("site,area\r\nA,1\r\nB\r\n", encoding="utf-8")
    with pytest.raises(folder.Unreadable, match="differ in length"):
        folder._table(tmp_path / "areas.csv")
