"""Cut plans of generated lots against their bounds:  python tests/bench/cuts.py [most pieces]

Prints a table: pieces, how sold, runs, proven, worst gap (rolls, or per cent by length), seconds of
processor time at the mean and at most. Pieces are what strips of house lots come to: full widths,
one rest a lawn, now and then cut two or three side by side; 15 ft x 100 ft rolls less an inch of
selvage. Then bin packing by the recipes of Falkenauer (1996), classes U and T, and of Scholl, Klein
and Juergens (1997), sets 1 and 2 (recipes from memory, the draws our own). Last sets as they were
published (`published.csv`: sizes as in a public copy): Falkenauer's u120 and t60, five of Scholl's,
and the 28 of Schoenfield (2002) that BPPLIB calls Hard28; optima as published with them, those of
hard28_14, _119, _175, _359 and _716 from memory.
"""

from __future__ import annotations

import csv
import sys
import time
from pathlib import Path

import numpy as np

from geoturf.cuts import stock_lengths
from geoturf.cuts.job import Job
from geoturf.cuts.market import Market
from geoturf.cuts.solve import solve
from geoturf.units import FOOT_M, INCH_M

WIDTH, ROLL = 178, 1200  # inches

#: pieces, lot models they repeat (0: all different), runs
CASES = [
    *((n, 0, 20) for n in (8, 14, 20, 30, 50, 100)),
    *((n, 0, 6) for n in (200, 500)),
    (5_000, 100, 2),
    (50_000, 100, 1),
    (5_000, 0, 1),
    (50_000, 3_000, 1),
]


def lot(chance: np.random.Generator) -> list[tuple[int, int]]:
    """Pieces (length, width) in inches of one lot."""
    pieces = []
    for _ in range(chance.integers(1, 4)):
        long, wide = chance.uniform(10, 60) * 12, chance.uniform(5, 45) * 12
        full, rest = divmod(wide, WIDTH)
        pieces += [(long * chance.uniform(0.7, 1.05) + 6, WIDTH) for _ in range(int(full))]
        if rest >= 6:
            parts = int(chance.integers(1, 4)) if rest < WIDTH / 2 and chance.random() < 0.4 else 1
            pieces += [(long * chance.uniform(0.6, 1.0) / parts + 6, min(WIDTH, rest + 1))] * parts
    return [(min(ROLL, int(np.ceil(a))), int(np.ceil(b))) for a, b in pieces]


def lots(count: int, models: int, seed: int) -> np.ndarray:
    """``count`` pieces of lots that repeat ``models`` models, or are all different."""
    chance = np.random.default_rng(seed)
    known = [lot(chance) for _ in range(models)]
    pieces: list[tuple[int, int]] = []
    while len(pieces) < count:
        pieces += known[chance.integers(models)] if known else lot(chance)
    return np.array(pieces[:count])


def make_job(pieces: np.ndarray, by_length: bool) -> Job:
    market = Market(15 * FOOT_M, (ROLL * INCH_M,), (1.0,), FOOT_M if by_length else 0.0)
    size, kind = np.unique(-pieces, axis=0, return_inverse=True)
    return Job(INCH_M, WIDTH, (ROLL,), market, -size, np.bincount(kind.reshape(-1)))


def run(count: int, models: int, runs: int, by_length: bool) -> str:
    gaps, seconds = [], []
    for seed in range(runs):
        job = make_job(lots(count, models, seed), by_length)
        start = time.process_time()
        cut = solve(job)
        seconds.append(time.process_time() - start)
        gap = cut.bought_m(job) - cut.bound_m
        gaps.append(100 * gap / cut.bound_m if by_length else gap / (ROLL * INCH_M))
    proven = sum(gap < 1e-6 for gap in gaps)
    kind = f"{models:,} models" if models else "all different"
    worst = f"{max(gaps):.2f} %" if by_length else f"+{max(0, *gaps):.0f}"
    sold = "length" if by_length else "rolls"
    return (
        f"| {count:,} {kind} | {sold} | {proven} of {runs} | {worst} | {np.mean(seconds):.2f} "
        "| "
        f"{max(seconds):.2f} |"
    )


def bins(name: str, roll: int, draw) -> str:
    met, seconds = 0, []
    for seed in range(10):
        sizes = draw(np.random.default_rng(seed))
        start = time.process_time()
        quick = stock_lengths.best_fit(roll, sizes)
        best, bound = stock_lengths.cut(stock_lengths.Stock((roll,), (1.0,)), sizes, quick, 0.0, 8)
        seconds.append(time.process_time() - start)
        met += len(best) <= np.ceil(bound - 1e-6)
    return f"| {name} | | {met} of 10 | | {np.mean(seconds):.2f} | {max(seconds):.2f} |"


def published(kind: str) -> str:
    """The sets of `published.csv` of a kind, as pieces of full width."""
    over, seconds = [], []
    for name, roll, best, sizes in sets():
        if name.startswith(kind):
            market = Market(1.0, (1.0,), (1.0,), 0.0)
            size, of = np.unique(-np.array(sizes), return_inverse=True)
            job = Job(
                1 / roll,
                1,
                (roll,),
                market,
                np.column_stack([-size, np.ones_like(size)]),
                np.bincount(of),
            )
            start = time.process_time()
            over.append(len(solve(job).bought) - best)
            seconds.append(time.process_time() - start)
    met = f"{over.count(0)} of {len(over)}"
    return (
        f"| published {kind} | rolls | {met} | +{max(over)} | {np.mean(seconds):.2f} | "
        f"{max(seconds):.2f} |"
    )


def sets() -> list[tuple[str, int, int, list[int]]]:
    """Name, roll, optimum and sizes of each published set."""
    with (Path(__file__).parent / "published.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [
        (r["name"], int(r["capacity"]), int(r["optimum"]), [int(x) for x in r["sizes"].split()])
        for r in rows
    ]


def triplets(count: int, chance: np.random.Generator) -> list[int]:
    sizes: list[int] = []
    for _ in range(count // 3):
        first = int(chance.integers(380, 491))
        second = int(chance.integers(250, (1000 - first) // 2 + 1))
        sizes += [first, second, 1000 - first - second]
    return sizes


def main() -> None:
    most = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    solve(make_job(lots(20, 0, 99), False))  # compiled before the clock runs
    print("| pieces | sold by | proven | worst gap | mean s | most s |\n|---|---|---|---|---|---|")
    for count, models, runs in CASES:
        for by_length in (False, True):
            if count <= most:
                print(run(count, models, runs, by_length), flush=True)
    for n in (120, 250, 500):
        print(
            bins(f"class U, {n}", 150, lambda chance, n=n: chance.integers(20, 101, n).tolist()),
            flush=True,
        )
    for roll, least in ((100, 1), (120, 20), (150, 30)):
        name = f"set 1, 200 of {least} to 100 in {roll}"
        print(
            bins(name, roll, lambda chance, least=least: chance.integers(least, 101, 200).tolist()),
            flush=True,
        )
    for part in (3, 5, 7, 9):
        name = f"set 2, 200 of a {part}th of 1000, half more or less"
        low, high = 1000 // part // 2, 1000 // part * 3 // 2 + 1
        draw = lambda chance, low=low, high=high: chance.integers(low, high, 200).tolist()  # noqa: E731
        print(bins(name, 1000, draw), flush=True)
    for kind in ("u120", "t60", "scholl", "hard28"):
        print(published(kind), flush=True)
    for n in (60, 120, 249):
        print(bins(f"class T, {n}", 1000, lambda chance, n=n: triplets(n, chance)), flush=True)


if __name__ == "__main__":
    main()
