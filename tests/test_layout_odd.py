"""Odd input to the layout: an answer in bounded time, or one clear line."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from layout_cases import FOOT, INCH, assert_lies_well, bounds_of, lay_all
from shapely.affinity import rotate

import geoturf
from geoturf.rules import LayoutRules, Product

MILE = 5280 * FOOT


@pytest.mark.parametrize("turn", [0, 21.3])
def test_a_sliver_an_inch_wide_and_a_mile_long(turn):
    sliver = rotate(shapely.box(0, 0, INCH, MILE), turn, origin=(0, 0))
    (choices,) = lay_all(sliver)
    best = choices.layouts[0]
    assert_lies_well(best, sliver)
    assert best.bearing_deg % 180 == pytest.approx(-turn % 180, abs=1e-6)
    assert len(best.pieces) == np.ceil(MILE / (99.5 * FOOT))
    assert bounds_of(sliver)[0] <= 180 * INCH / (178 * INCH) * np.sum(
        best.cut[:, 0] * best.cut[:, 1]
    )


def test_a_sliver_across_a_given_pile():
    sliver = shapely.box(0, 0, INCH, MILE)
    (choices,) = lay_all(sliver, bearing=90.0)
    assert_lies_well(choices.layouts[0], sliver)
    assert choices.free_cost < choices.layouts[0].cost


def test_ten_thousand_vertices():
    angle = np.linspace(0, 2 * np.pi, 10_000, endpoint=False)
    radius = 20 + np.sin(5 * angle) + 0.02 * np.sin(900 * angle)
    shape = shapely.Polygon(np.column_stack([radius * np.cos(angle), radius * np.sin(angle)]))
    searched = LayoutRules.model_validate({"regular_corners": 20_000})
    (choices,) = lay_all(shape, rules=searched)
    assert_lies_well(choices.layouts[0], shape)


@pytest.mark.parametrize("price", ["0 USD/ft^2", "0.01 USD/ft^2"])
def test_turf_for_nothing(price):
    (choices,) = lay_all(shapely.box(0, 0, 7, 9), product=Product.model_validate({"price": price}))
    for layout in choices.layouts:
        assert np.isfinite(layout.cost)
        assert_lies_well(layout, shapely.box(0, 0, 7, 9))


def test_seams_for_nothing():
    rules = LayoutRules.model_validate({"seam_cost": "0 USD/ft", "cross_seam_cost": "0 USD"})
    (choices,) = lay_all(shapely.box(0, 0, 7, 9), rules=rules)
    assert_lies_well(choices.layouts[0], shapely.box(0, 0, 7, 9))


@pytest.mark.parametrize("price", ["30 USD/ft", "3000 USD/roll", "2 USD/ft^2"])
def test_turf_priced_any_way_is_laid_alike(price):
    """30 USD a foot of 15 ft roll, 3000 USD a roll of 1500 ft2: 2 USD a square foot all of them."""
    (choices,) = lay_all(shapely.box(0, 0, 7, 9), product=Product.model_validate({"price": price}))
    (other,) = lay_all(
        shapely.box(0, 0, 7, 9), product=Product.model_validate({"price": "2 USD/ft^2"})
    )
    assert [layout.cost for layout in choices.layouts] == pytest.approx(
        [layout.cost for layout in other.layouts]
    )


def test_an_area_of_parts_far_apart():
    parts = shapely.MultiPolygon([shapely.box(0, 0, 3, 4), shapely.box(4000, 9000, 4003, 9002)])
    (choices,) = lay_all(parts)
    assert_lies_well(choices.layouts[0], parts)


@pytest.mark.parametrize("least", ["8 ft", "14 ft", "14.8 ft"])
def test_a_smallest_piece_nearly_as_wide_as_the_roll(least):
    rules = LayoutRules.model_validate({"min_piece_width": least})
    shape = shapely.box(0, 0, 5, 9.3)
    (choices,) = lay_all(shape, rules=rules)
    for layout in choices.layouts:
        assert_lies_well(layout, shape, rules)


def test_no_areas_at_all():
    assert lay_all() == ()


@pytest.mark.parametrize(
    ("cache", "compiled"), [("cache", [1, 0]), ("site/geoturf/__init__.py", [1, 1])]
)
def test_a_read_only_install(tmp_path, cache, compiled):
    """The package where numba can't write beside it: what one process compiled (cache misses, of
    one function) the next finds in the user's cache folder; where that can't be written either, it
    still runs."""
    package = tmp_path / "site" / "geoturf"
    shutil.copytree(
        Path(geoturf.__file__).parent, package, ignore=shutil.ignore_patterns("__pycache__")
    )
    # a file where numba would put its folder, so that root can't either
    (package / "layout" / "__pycache__").write_text("")
    env = {k: v for k, v in os.environ.items() if not k.startswith(("NUMBA", "PYTHON"))}
    env |= {
        "PYTHONPATH": str(package.parent),
        "XDG_CACHE_HOME": str(tmp_path / cache),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    code = (
        "import numpy as np, geoturf.layout.kernel as k; f = k.turf_on\n"
        "print(k.__file__, f(np.array([[0, 0, 0, 2.], [1, 0, 1, 2.]]), 1., np.empty(3)), "
        "sum(f.stats.cache_misses.values()))"
    )
    told = [
        subprocess.run(
            [sys.executable, "-c", code],
            env=env,
            cwd=tmp_path,
            capture_output=True,
            text=True,
            check=True,
        )
        for _ in range(2)
    ]
    assert [run.stdout.split()[1:] for run in told] == [["2", str(misses)] for misses in compiled]
    assert str(package) in told[0].stdout
