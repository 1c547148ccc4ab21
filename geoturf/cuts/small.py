"""What is laid smaller than the rules would have it, since the turf there allows no other: told,
area by area."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from geoturf.model import Finding, Ground, Layout
from geoturf.rules import LayoutRules, Product

HAIR_M = 1e-5  # lengths that differ by less are the same
ASIDE = 0.5  # of a strip's length at most is seam along a side that counts as a border of turf


def told(
    ground: Ground,
    chosen: Mapping[int, Layout],
    rules: LayoutRules,
    products: Mapping[str, Product],
) -> tuple[Finding, ...]:
    """A note for each area that has any, with how many."""
    out = []
    for row, layout in sorted(chosen.items()):
        product = products[str(ground.areas["product"].iloc[row])]
        small = under_least(layout, rules, _lengths_m(product, layout))
        inside = narrow_inside(layout, rules)
        said = []
        if small.any():
            said.append(f"{small.sum()} of {len(small)} pieces are under the least width or length")
        if inside:
            said.append(f"{inside} narrow strip(s) lie between others or beside another")
        if said:
            site, area = ground.areas[["site", "area"]].iloc[row]
            message = f"{' and '.join(said)}, as turf there allows no other"
            out.append(Finding("note", "small-pieces", message, site=str(site), area=str(area)))
    return tuple(out)


def _lengths_m(product: Product, layout: Layout) -> Sequence[float]:
    """Lengths that the roll of a layout is sold in (of the width nearest to its: inches and feet
    differ in the last digit)."""
    return min(product.widths, key=lambda s: abs(s.roll_width_m - layout.roll_width_m)).roll_lengths


def under_least(
    layout: Layout, rules: LayoutRules, lengths_m: Sequence[float] = (math.inf,)
) -> np.ndarray:
    """Which pieces (bool, (n,)) are narrower or shorter than the rules' least, on rolls so long."""
    u0, u1, v0, v1 = layout.pieces.T
    wide = min(rules.min_piece_width_m, layout.width_m)
    long = rules.least_laid_m(lengths_m)
    under: np.ndarray = (v1 - v0 < wide - HAIR_M) | (u1 - u0 < long - HAIR_M)
    return under


def narrow_inside(layout: Layout, rules: LayoutRules) -> int:
    """How many narrow strips have turf along most of both sides, or another narrow one along most
    of one."""
    lines, of = np.unique(np.round(layout.pieces[:, 2:] / HAIR_M), axis=0, return_inverse=True)
    lines = lines * HAIR_M
    of = of.reshape(-1)
    length = np.bincount(of, layout.pieces[:, 1] - layout.pieces[:, 0])
    narrow = lines[:, 1] - lines[:, 0] < layout.width_m * rules.narrow_strip - HAIR_M
    seam = np.array([_seams_m(layout.seams, layout.pieces[of == k]) for k in range(len(lines))])
    long = seam > ASIDE * length[:, None] + 1e3 * HAIR_M
    beside = np.abs(lines[:, None, 0] - lines[None, :, 1]) < 2 * HAIR_M  # one above the other
    paired = narrow & long[:, 0] & (beside & narrow & long[:, 1]).any(axis=1)
    return int(np.sum(narrow & long.all(axis=1) | paired))


def _seams_m(seams: np.ndarray, strip: np.ndarray) -> list[float]:
    """Seam (m) along both sides of the pieces of a strip."""
    both = []
    for v in strip[0, 2:]:
        here = seams[np.abs(seams[:, 0] - v) < 2 * HAIR_M, 1:]
        if not len(here):
            both.append(0.0)
            continue
        ends = here[np.argsort(here[:, 0], kind="stable")].ravel()
        long = np.diff(ends)
        long[1::2] = 0.0  # between seams
        upto = np.append(0.0, np.cumsum(long))  # seam from the first end to each
        along = np.interp(strip[:, 1], ends, upto) - np.interp(strip[:, 0], ends, upto)
        both.append(float(along.sum()))
    return both
