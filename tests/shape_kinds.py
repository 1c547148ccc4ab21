"""Kinds of shape that turf is laid on, invented: some to fit an estimate to, others to try it
on."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely.affinity import rotate

Draw = Callable[[np.random.Generator], shapely.Geometry]


def shapes(kind: str, count: int, seed: int) -> list[shapely.Geometry]:
    """So many shapes of a kind, each turned at random."""
    rng = np.random.default_rng(seed)
    return [rotate(KINDS[kind](rng), rng.uniform(0, 360), origin=(0, 0)) for _ in range(count)]


def lot(rng: np.random.Generator) -> shapely.Geometry:
    """A parcel less house, drive and patio."""
    wide, deep = rng.uniform(15, 24), rng.uniform(26, 38)
    skew = rng.normal(0, 1.5)
    parcel = shapely.Polygon([(0, 0), (wide, 0), (wide + skew, deep), (0.7 * skew, deep)])
    x0, x1, y0 = rng.uniform(1.5, 3.5), wide - rng.uniform(1.5, 3.5), rng.uniform(5, 9)
    y1 = y0 + rng.uniform(8, 12)
    house = shapely.box(x0, y0, x1, y1)
    notch = rng.uniform(0.25, 0.5) * (x1 - x0)
    house -= shapely.box(x0, y0, x0 + notch, y0 + rng.uniform(1, 3))
    drive = shapely.box(x1 - rng.uniform(3, 6), -5, x1 - 0.3, y0 + 0.1)
    patio = shapely.box(x0 + 0.2, y1 - 0.1, x0 + rng.uniform(3, 5), y1 + rng.uniform(2, 4))
    turf = parcel - shapely.union_all([house, drive, patio])
    return shapely.MultiPolygon([part for part in shapely.get_parts(turf) if part.area > 2])


def yard(rng: np.random.Generator) -> shapely.Geometry:
    """Four corners, a walk cut out of some."""
    wide, deep = rng.uniform(8, 20), rng.uniform(5, 14)
    off = rng.normal(0, 0.7, 3)
    made = shapely.Polygon([(0, 0), (wide, off[0]), (wide + off[1], deep), (off[2], deep)])
    if rng.random() < 0.6:
        walk = wide * 0.6 + rng.uniform(1.2, 3.5)
        made -= shapely.box(wide * 0.6, -3, walk, deep * rng.uniform(0.6, 1.2))
    return made


def blob(rng: np.random.Generator) -> shapely.Geometry:
    """A park lawn of 72 corners."""
    angle, radius = np.linspace(0, 2 * np.pi, 72, endpoint=False), np.ones(72)
    for k in range(2, 7):
        radius += rng.normal(0, 0.25 / k) * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
    radius *= rng.uniform(10, 30)
    ring = np.column_stack([rng.uniform(1, 1.8) * np.cos(angle), np.sin(angle)])
    return max(shapely.get_parts(shapely.Polygon(radius[:, None] * ring).buffer(0)), key=_size)


def stepped(rng: np.random.Generator) -> shapely.Geometry:
    """An L."""
    a, b = rng.uniform(8, 25, 2)
    c, d = rng.uniform(0.3, 0.7) * a, rng.uniform(0.3, 0.7) * b
    return shapely.box(0, 0, a, b) - shapely.box(c, d, a + 1, b + 1)


def rectangle(rng: np.random.Generator) -> shapely.Geometry:
    return shapely.box(0, 0, *np.exp(rng.uniform(np.log(2.5), np.log(30), 2)))


def median(rng: np.random.Generator) -> shapely.Geometry:
    """The long strip in the middle of a road."""
    long, wide = rng.uniform(15, 80), rng.uniform(2, 6)
    x = np.linspace(0, long, 12)
    bend = rng.normal(0, 1) * (x / long) ** 2 * 6
    return shapely.LineString(np.column_stack([x, bend])).buffer(wide / 2, quad_segs=4)


def triangle(rng: np.random.Generator) -> shapely.Geometry:
    while True:
        made = shapely.Polygon(rng.uniform(0, rng.uniform(10, 35), (3, 2)))
        if made.area > 25:
            return made


def parcel(rng: np.random.Generator) -> shapely.Geometry:
    """Five corners, some 40 m wide."""
    a, b = rng.uniform(20, 60, 2)
    corners = np.array([[0, 0], [a, 0], [1.02 * a, b / 2], [a, b], [0, b]])
    return shapely.Polygon(corners + rng.normal(0, 1, (5, 2)))


def oval(rng: np.random.Generator) -> shapely.Geometry:
    a, b = rng.uniform(6, 35, 2)
    angle = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    return shapely.Polygon(np.column_stack([a * np.cos(angle), b * np.sin(angle)]))


def ring(rng: np.random.Generator) -> shapely.Geometry:
    """The lawn all about a house."""
    a, b = rng.uniform(14, 30), rng.uniform(18, 40)
    x, y, right, top = *rng.uniform(1.5, 4, 2), a - rng.uniform(1.5, 4), b - rng.uniform(4, 12)
    return shapely.box(0, 0, a, b) - shapely.box(x, y, right, top)


def court(rng: np.random.Generator) -> shapely.Geometry:
    """A U, in arms narrower than a roll."""
    (a, b), wide = rng.uniform(10, 30, 2), rng.uniform(2, 4.5)
    return shapely.box(0, 0, a, b) - shapely.box(
        wide, wide, a - wide * rng.uniform(0.6, 1.4), b + 1
    )


def small(rng: np.random.Generator) -> shapely.Geometry:
    a, b = rng.uniform(1, 5, 2)
    corners = np.array([[0, 0], [a, 0], [a, b], [0, b]])
    return shapely.Polygon(corners + rng.normal(0, 0.15, (4, 2))).convex_hull


def star(rng: np.random.Generator) -> shapely.Geometry:
    """Odd corners, inner ones among them."""
    many = rng.integers(6, 14)
    angle, radius = np.sort(rng.uniform(0, 2 * np.pi, many)), rng.uniform(5, 18, many)
    ring_ = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    return max(shapely.get_parts(shapely.Polygon(ring_).buffer(0)), key=_size)


def _size(shape: shapely.Geometry) -> float:
    return float(shape.area)


KINDS: dict[str, Draw] = {
    "lots": lot,
    "yards": yard,
    "blobs": blob,
    "L-shaped": stepped,
    "rectangles": rectangle,
    "medians": median,
    "triangles": triangle,
    "parcels": parcel,
    "ovals": oval,
    "rings": ring,
    "courts": court,
    "small": small,
    "stars": star,
}
