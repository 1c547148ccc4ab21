"""Layouts chosen for the pool: widths that lie side by side on the roll come first."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from layout_cases import INCH, RULES, TURF, USABLE, assert_lies_well, lay_all
from shapely.affinity import rotate, translate

from geoturf.layout import balance
from geoturf.layout.balance import balanced
from geoturf.layout.roll import BALANCED, stocked
from geoturf.model import Choices, Layout

(ROLL,) = stocked("turf60", TURF, RULES)


def one_strip(inches: float, seam_m: float = 0.0) -> Layout:
    """A layout of one strip, 10 m to cut, so many inches wide to cut."""
    none = np.empty((0, 3))
    pieces, cut = np.array([[0.0, 9.8, 0.0, inches * INCH]]), np.array([[10.0, inches * INCH]])
    return Layout(0.0, pieces, none, none, cut, USABLE, ROLL.width_m, seam_m, inches + seam_m)


def offers(*layouts: Layout) -> Choices:
    return Choices(layouts, layouts[:1], np.nan)


def nothing_new(rolls):
    return {row: [] for row in rolls}


def first_widths(choices) -> list[float]:
    return [round(c.layouts[0].cut[0, 1] / INCH) for c in choices]


def test_a_strip_that_fills_the_rest_of_another_comes_first():
    """178 in usable. Two areas need 118 in; beside those fits 60 in, but not 62 in, though a seam
    the dearer."""
    wide, near, fits = one_strip(118), one_strip(62), one_strip(60, seam_m=0.5)
    choices = [offers(wide), offers(wide), offers(near, fits), offers(near, fits)]
    out = balanced(choices, ["p"] * 4, [(ROLL,)] * 4, nothing_new)
    assert first_widths(out) == [118, 118, 60, 60]
    assert [len(c.layouts) for c in out] == [1, 1, 2, 2]


def test_pools_do_not_help_each_other():
    wide, near, fits = one_strip(118), one_strip(89), one_strip(60, seam_m=20.0)
    apart = [offers(wide)] * 4 + [offers(near, fits)] * 4
    out = balanced(apart, ["p"] * 4 + ["q"] * 4, [(ROLL,)] * 8, nothing_new)
    assert (
        first_widths(out) == [118] * 4 + [89] * 4
    )  # two lie side by side, the seam of the other is dear


def test_a_pool_of_few_is_left_as_it_is():
    choices = [offers(one_strip(62), one_strip(60))] * 2
    assert balanced(choices, ["p"] * 2, [(ROLL,)] * 2, nothing_new) == choices


def test_prices_given_to_relay_are_shares_that_grow_with_width():
    seen = []

    def relay(rolls):
        seen.append(rolls[0][0].shares[BALANCED])
        return nothing_new(rolls)

    balanced([offers(one_strip(k)) for k in (40, 60, 118, 150)], ["p"] * 4, [(ROLL,)] * 4, relay)
    assert len(seen) == balance.RELAID
    assert np.all(np.diff(seen[0]) >= 0) and seen[0][-1] == pytest.approx(1) and seen[0][0] == 0
    assert len(seen[0]) == 179  # by whole inches


def test_a_street_of_lots_lies_well_and_repeats_get_what_the_first_gets():
    lot = shapely.Polygon([(0, 0), (17, 0), (18, 12), (6, 14), (0, 9)]) - shapely.box(4, 3, 9, 7)
    shapes = [
        lot,
        rotate(lot, 50),
        translate(lot, 30, 4),
        shapely.box(0, 0, 7, 11),
        shapely.box(0, 0, 13, 6.5),
    ]
    done = lay_all(*shapes)
    assert [c.same_as for c in done] == [-1, 0, 0, -1, -1]
    for choices, shape in zip(done, shapes, strict=True):
        for layout in choices.layouts:
            assert_lies_well(layout, shape)
    costs = [sorted(round(layout.cost, 6) for layout in c.layouts) for c in done[:3]]
    assert costs[0] == costs[1] == costs[2]
