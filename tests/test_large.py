"""What is large: bounded in time and memory, laid in regular strips and told, or refused by name."""

from __future__ import annotations

import numpy as np
import shapely

from geoturf.check.near import inside, near


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
