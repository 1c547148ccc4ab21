"""Dual feasible functions: what no plan can beat, whatever its cuts.

A dual feasible function f on a container of C gives every size x a weight so that sizes which fit
together (sum <= C) weigh f(C) together at most. For pieces of width w_i and length l_i that are not
turned, any two of them, f across and g along, bound what is bought from below, for any way of
cutting, guillotine or not:

    length >= sum_i d_i f(w_i) l_i / f(W)            rolls >= sum_i d_i f(w_i) g(l_i) / (f(W) g(R))

(Fekete and Schepers 2004, A general framework for bounds for higher-dimensional orthogonal packing
problems). All used here are superadditive, so a left-over of width w and length l takes f(w) g(l)
off the sum at most. Families: Martello and Toth 1990 (`_capped`), Fekete and Schepers 2001
(`_rounded`), Carlier, Clautiaux and Moukrim 2007 (`_parted`). The best pair is found in floats and
its bound computed again in integers.
"""

from __future__ import annotations

import numpy as np

from geoturf.cuts.job import Job

_MOST = 300  # parameters tried of a family, evenly spread where there are more
_ROUNDINGS = 40


def _capped(x: np.ndarray, c: int, k: int) -> np.ndarray:
    """Over c - k counts as all of c, under k as nothing."""
    return np.where(x > c - k, c, np.where(x < k, 0, x))


def _rounded(x: np.ndarray, c: int, k: int) -> np.ndarray:
    """x (k + 1) / c rounded down to whole numbers, but kept where it is one; times c to stay
    whole."""
    return np.where(x * (k + 1) % c == 0, x * k, x * (k + 1) // c * c)


def _parted(x: np.ndarray, c: int, k: int) -> np.ndarray:
    """How many parts of k fit; a size over half is what its complement leaves."""
    small = 2 * (x // k)
    large = 2 * (c // k - (c - x) // k)
    no_half = np.where(2 * x > c, large, small)
    return np.where(2 * x == c, c // k, no_half)


def functions(x: np.ndarray, c: int) -> tuple[np.ndarray, np.ndarray]:
    """Weights (m, n) of the sizes ``x`` (n,), 0 < x <= c, under each function, and of the container
    (m,); integers."""
    rows = [x]
    tops = [c]
    for k in range(1, _ROUNDINGS):
        rows.append(_rounded(x, c, k))
        tops.append(c * k)
    for k in _parameters(x, c):
        rows += [_capped(x, c, k), _parted(x, c, k)]
        tops += [c, 2 * (c // k)]
    return np.array(rows, np.int64), np.array(tops, np.int64)


def _parameters(x: np.ndarray, c: int) -> list[int]:
    """Where a function changes: at sizes and their complements, or a step past one."""
    rest = c - x
    values = np.unique(np.concatenate([x, rest, x + 1, rest + 1]))
    values = values[(values > 0) & (2 * values <= c)]
    if len(values) > _MOST:
        spread = np.linspace(0, len(values) - 1, _MOST)
        values = values[spread.astype(int)]
    found: list[int] = values.tolist()
    return found


def least_length(job: Job) -> int:
    """Steps of roll that no plan for these pieces buys less than (left-overs at hand used up)."""
    stock = np.array(job.left_overs, np.int64).reshape(-1, 2)
    widths = np.concatenate([job.size[:, 1], np.minimum(stock[:, 1], job.width)])
    lengths = np.concatenate([job.demand * job.size[:, 0], -stock[:, 0]])
    weights, tops = functions(widths, job.width)
    return max(0, int(np.max(-(-(weights @ lengths) // tops))))


def least_m(job: Job) -> float:
    """Metres of roll, as can be bought, that no plan for these pieces buys less than (left-overs at
    hand used up)."""
    least = job.least_m(least_length(job))
    if not job.market.by_length and len(job.rolls) == 1:
        least = max(least, least_rolls(job) * job.market.lengths_m[0])
    return least


def values(job: Job, cost: np.ndarray) -> np.ndarray:
    """What a piece of each size may be worth, float (k,), so that no section is worth more than its
    ``cost`` by length, which is superadditive: those of the function across that bounds the cost of
    all pieces best."""
    weights, tops = functions(job.size[:, 1], job.width)
    share = weights / tops[:, None]
    along = cost[job.size[:, 0]]
    best: np.ndarray = share[np.argmax(share @ (along * job.demand))] * along
    return best


def least_rolls(job: Job) -> int:
    """Rolls of the longest stocked length that no plan for these pieces buys less than."""
    stock = np.array(
        [part for one in job.left_overs for part in _as_rolls(*one, job.longest)], np.int64
    ).reshape(-1, 2)
    across, wide = np.unique(
        np.concatenate([job.size[:, 1], np.minimum(stock[:, 1], job.width)]), return_inverse=True
    )
    along, long = np.unique(np.concatenate([job.size[:, 0], stock[:, 0]]), return_inverse=True)
    count = np.zeros((len(across), len(along)), np.int64)
    np.add.at(count, (wide, long), np.concatenate([job.demand, np.full(len(stock), -1)]))
    f, f_top = functions(across, job.width)
    g, g_top = functions(along, job.longest)
    share = (f / f_top[:, None]) @ count @ (g / g_top[:, None]).T
    best = [divmod(int(at), len(g)) for at in np.argsort(share, axis=None)[::-1][:5]]
    return max(0, *(_exact(f[i], count, g[j], int(f_top[i]), int(g_top[j])) for i, j in best))


def _as_rolls(length: int, width: int, longest: int) -> list[tuple[int, int]]:
    """Rolls, none longer than the ``longest``, that hold whatever a left-over holds: its stretches
    of a roll's length each, and for each line between two of them a roll for the pieces that lie
    across it."""
    lines = -(-length // longest) - 1
    return [(longest, width)] * (2 * lines) + [(length - lines * longest, width)]


def _exact(f: np.ndarray, count: np.ndarray, g: np.ndarray, f_top: int, g_top: int) -> int:
    """The bound in whole numbers of any size, rounded up."""
    total = sum(int(a) * int(b) for a, b in zip(f, (count @ g).tolist(), strict=True))
    return -(-total // (f_top * g_top))
