"""Fits what `geoturf.layout.estimate` tells of turf to geoturf's own layouts, and measures how far
off it is on kinds of shape that it was not fitted on.

    python tests/bench/estimate.py [--write]

Pools of 1 to 120 areas of each kind of shape (tests/shape_kinds.py) are laid and cut with every
default. Their turf is fitted, by least squares of the relative error (weighed by how sure pools of
a size are), as

    strips, ground, bound, inner corners and seams, each by a factor, and turf beside narrow pieces
    by  share x (narrow pieces + few) ** -power

For each kind the fit is made on all the others and tried on it. ``--write`` puts the fit of all
kinds into geoturf/data/estimate.csv, with the errors met. Some four minutes of one core.
"""

from __future__ import annotations

import argparse
import csv
import sys
from dataclasses import dataclass, replace
from datetime import date
from itertools import product
from pathlib import Path

import numpy as np
import shapely
from layout import ground_of
from scipy.optimize import least_squares

sys.path.insert(0, str(Path(__file__).parent.parent))
from shape_kinds import KINDS, shapes

import geoturf
from geoturf import cuts
from geoturf.cuts import packed
from geoturf.engine import Serial
from geoturf.layout import cut_across, lay, likely, task_of
from geoturf.layout.estimate import MEASURES, bounds_m2, measures, piece_counts, sought
from geoturf.layout.roll import stocked
from geoturf.rules import CutRules, LayoutRules, Product

SIZES = [1] * 15 + [5] * 4 + [15] * 2 + [50] * 2 + [120]  # of pools
SURE = {
    1: 0.15,
    5: 0.04,
    15: 0.012,
    50: 0.004,
    120: 0.004,
}  # what errors of such pools are weighed by
RULES, CUTS, TURF = LayoutRules(), CutRules(), Product()
STOCKED = ("100 ft", "50 ft")
LARGE = [15] * 2 + [50]  # of pools bought in whole rolls
ROLLED = ("yards", "L-shaped", "rectangles", "parcels")
TOLD = (*MEASURES, "rest", "narrow")
PLAIN = len(MEASURES)
START = [0.9, 0.0, 0.1, 0.0, 0.0, 1.0, 0.5, 1.0]
LOW, HIGH = [-5.0] * PLAIN + [0, 0.1, 0.1], [5.0] * PLAIN + [300, 3, 90]
NAMES = [
    *(("turf", name) for name in MEASURES),
    ("small pools", "of the rest"),
    ("small pools", "power"),
    ("small pools", "narrow pieces more"),
]


@dataclass(frozen=True)
class Laid:
    """A kind's pools as they were laid. ``told`` (pools, `TOLD`), ``bought`` (m2), ``size``
    (areas); by area: ``share`` (m2 bought for it), ``own`` (areas, `TOLD`); ``seams``: bought and
    told, sums of seam (m), cross seams."""

    told: np.ndarray
    bought: np.ndarray
    size: np.ndarray
    share: np.ndarray
    own: np.ndarray
    seams: np.ndarray


def laid(kind: str, seed: int = 77, sizes: list[int] = SIZES, turf: Product = TURF) -> Laid:
    """Pools of a kind, laid and cut."""
    made = np.array(shapes(kind, sum(sizes), seed), object)
    pool = np.repeat(np.arange(len(sizes)), sizes)
    ground = ground_of(list(made))
    areas = ground.areas.assign(area="1", phase=pool.astype(str), work_order=np.nan)
    ground = replace(ground, areas=areas.assign(surface_area_m2=shapely.area(made)))
    products = {"turf60": turf}
    choices = lay(task_of(ground, products, RULES), Serial())
    plan = cuts.plan(ground, choices, products, CUTS, layout_rules=RULES, cut_across=cut_across)
    roll = stocked("turf60", TURF, RULES)[0]
    found = sought(made, np.full(len(made), np.nan), roll, Serial())
    own = np.column_stack(
        [
            measures(found, made, bounds_m2(made, shapely.area(made), roll), roll),
            found[:, likely.REST],
            found[:, likely.NARROWS],
        ]
    )
    cross = plan.seams["kind"].eq("cross")
    told = [found[:, likely.SEAM].sum(), found[:, likely.CROSSES].sum()]
    done = [plan.seams["length_m"][~cross].sum(), float(cross.sum())]
    sums = np.array([own[pool == k].sum(axis=0) for k in range(len(sizes))])
    return Laid(
        sums,
        plan.pools["bought_m2"].to_numpy(float),
        np.array(sizes),
        plan.chosen["turf_bought_m2"].to_numpy(float),
        own,
        np.array([done, told]),
    )


def whole_rolls(kinds: tuple[str, ...] = ROLLED) -> np.ndarray:
    """What pools of 15 and more buy in whole rolls over what they buy by length (less half a roll,
    which the last one is begun by on average), and over what packing takes over their pieces: (m,
    2), parts."""
    rows = []
    for length, kind in product(STOCKED, kinds):
        of_roll, of_length = (
            Product(sold_by=by, roll_lengths=[length]) for by in ("roll", "length")
        )
        by_roll, by_length = (laid(kind, 79, LARGE, one) for one in (of_roll, of_length))
        made = np.array(shapes(kind, sum(LARGE), 79), object)
        rows.append(np.column_stack([more_m2(by_roll, by_length, of_roll), packing(made, of_roll)]))
    return np.concatenate(rows)


def more_m2(by_roll: Laid, by_length: Laid, turf: Product) -> np.ndarray:
    half = turf.roll_lengths[0] * turf.roll_width_m / 2
    return (by_roll.bought - half) / by_length.bought - 1


def packing(made: np.ndarray, turf: Product) -> np.ndarray:
    """`packed.over` of pools of `LARGE` areas."""
    roll = stocked("turf60", turf, RULES)[0]
    found = sought(made, np.full(len(made), np.nan), roll, Serial())
    counts = piece_counts(made, found, roll)
    return packed.over(np.add.reduceat(counts, np.cumsum([0, *LARGE[:-1]])))


def turf_m2(fit: np.ndarray, told: np.ndarray) -> np.ndarray:
    """Turf by a fit."""
    rest, narrow = told[:, -2], told[:, -1]
    some, power, few = fit[PLAIN:]
    return told[:, :PLAIN] @ fit[:PLAIN] + rest * some * (narrow + few) ** -power


def fitted(pools: list[Laid]) -> np.ndarray:
    told, bought, size = (
        np.concatenate([getattr(one, name) for one in pools]) for name in ("told", "bought", "size")
    )
    sure = np.array([SURE[n] for n in size.tolist()])
    # robust: an odd pool does not turn the rest
    found = least_squares(
        lambda fit: (turf_m2(fit, told) / bought - 1) / sure,
        START,
        bounds=(LOW, HIGH),
        loss="soft_l1",
    )
    return found.x


def off_pct(fit: np.ndarray, one: Laid) -> np.ndarray:
    return 100 * (turf_m2(fit, one.told) / one.bought - 1)


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--write", action="store_true")
    known = {kind: laid(kind) for kind in KINDS}
    unseen = {
        kind: off_pct(fitted([one for name, one in known.items() if name != kind]), known[kind])
        for kind in KINDS
    }
    fit = fitted(list(known.values()))
    seen = {kind: off_pct(fit, one) for kind, one in known.items()}
    print_errors(known, seen, unseen)
    if arguments.parse_args().write:
        write(fit, known, seen, unseen)


def print_errors(known: dict, seen: dict, unseen: dict) -> None:
    """By kind and size of pool: mean error, not fitted on it."""
    size = next(iter(known.values())).size
    each = list(dict.fromkeys(size.tolist()))
    print("| not fitted on | " + " | ".join(f"pools of {n}, %" for n in each) + " |")
    print("|---" * (len(each) + 1) + "|")
    for kind, off in unseen.items():
        cells = [f"{off[size == n].mean():+.2f}" for n in each]
        print(f"| {kind} | " + " | ".join(cells) + " |")
    for name, of in (("one sigma", unseen), ("one sigma, fitted on all", seen)):
        every = np.array(list(of.values()))
        cells = [f"{np.sqrt((every[:, size == n] ** 2).mean()):.2f}" for n in each]
        print(f"| {name} | " + " | ".join(cells) + " |")


def write(fit: np.ndarray, known: dict, seen: dict, unseen: dict) -> None:
    size = next(iter(known.values())).size
    large = np.array(list(unseen.values()))[:, size >= 50]
    kinds = float(np.sqrt((large**2).mean())) / 100
    done, told = np.array([one.seams for one in known.values()]).sum(axis=0)
    rows = dict(zip(NAMES, fit.tolist(), strict=True))
    rows |= {("seams", "along"): done[0] / told[0], ("seams", "across"): done[1] / told[1]}
    rows |= spreads(fit, known, kinds)
    more, over = whole_rolls().T
    part = float((more * over).sum() / (over**2).sum())
    rows |= {
        ("whole rolls", "of what packing takes"): part,
        ("sigma", "of whole rolls"): float(((1 + part * over) / (1 + more)).std()),
    }
    path = Path(geoturf.__file__).parent / "data" / "estimate.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["name", "quantity", "value", "unit", "source", "year"])
        for (name, quantity), value in rows.items():
            source = "tests/bench/estimate.py: fitted to geoturf's own layouts"
            out.writerow([name, quantity, f"{value:.4f}", 1, source, date.today().year])


def spreads(fit: np.ndarray, known: dict, kinds: float) -> dict[tuple[str, str], float]:
    """Standard deviations, as parts of the turf: of an area's share in a large pool, and more by
    what lies beside its narrow pieces; of what small pools take beyond large ones; of a kind not
    fitted on."""
    off, rest = [], []
    for one in known.values():
        pool = np.repeat(one.size, one.size) >= 50
        own = one.own[pool][:, :PLAIN] @ fit[:PLAIN]
        scale = one.share[pool].sum() / own.sum()  # the pool's own error is of its kind
        off.append(one.share[pool] / own / scale - 1)
        rest.append(one.own[pool][:, -2] / own)
    some, beside = np.concatenate(off), np.concatenate(rest)
    few = beside < np.quantile(beside, 0.3)
    plain = float(np.std(some[few]))
    more = np.sqrt(max(0.0, np.mean(some**2) - plain**2) / np.mean(beside**2))
    with np.errstate(divide="ignore"):  # pools without narrow pieces, left out below
        small = [
            (one.bought - turf_m2(fit, one.told))
            / (turf_m2(fit, one.told) - one.told[:, :PLAIN] @ fit[:PLAIN])
            for one in known.values()
        ]
    alone = np.concatenate(
        [part[one.size <= 5] for part, one in zip(small, known.values(), strict=True)]
    )
    alone = alone[np.isfinite(alone)]
    within = float(np.quantile(np.abs(alone), 0.683))
    return {
        ("sigma", "of an area"): plain,
        ("sigma", "of its rest"): float(more),
        ("sigma", "of a small pool"): within,
        ("sigma", "of a kind"): kinds,
    }


if __name__ == "__main__":
    main()
