"""Lengths cut from stocked lengths: the cutting-stock problem in one dimension (Gilmore and Gomory
1961).

Column generation with demand-bounded knapsacks, then diving: patterns the programme uses whole are
taken, then the one it uses most, and the rest is solved again. What is left at the end goes by best
fit; the cheapest of all tries is kept.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import Counter
from collections.abc import Set
from dataclasses import dataclass

import highspy
import numpy as np

from geoturf import highs
from geoturf.cuts import pricing
from geoturf.cuts.master import Master
from geoturf.units import round_up

Pattern = tuple[int, ...]  # lengths, longest first

_ROUNDS = 400
_MANY = 400  # lengths beyond which the programme is solved once only
_HURRIED, _CAREFUL = 20, 60  # patterns taken at once when diving: one in so many
_PATTERNS = 20  # added a round
_GATHERED, _NODES = (
    8,
    200,
)  # dives whose patterns are chosen from, and nodes of branch and bound then
_FEASIBLE = 2  # HiGHS' name for a solution that is one


class Stock:
    """Stocked lengths, longest first, and what each costs."""

    def __init__(self, lengths: tuple[int, ...], costs: tuple[float, ...]):
        self.lengths = lengths
        self.costs = costs
        self.step = costs[0] if len(costs) == 1 else 0.0
        self.table = np.full(lengths[0] + 1, np.inf)
        for length, cost in zip(lengths, costs, strict=True):
            self.table[: length + 1] = np.minimum(self.table[: length + 1], cost)

    def cost(self, used: int) -> float:
        """The least that a length costs which holds ``used``."""
        return float(self.table[used])

    def rounded(self, cost: float) -> float:
        """The least cost of whole rolls that is no less than ``cost``."""
        if self.step:
            return round_up(cost, self.step) * self.step
        return cost

    def total(self, patterns: list[Pattern]) -> float:
        return float(sum(self.table[sum(pattern)] for pattern in patterns))


def cut(
    stock: Stock, lengths: list[int], good: list[Pattern], enough: float, dives: int = 2
) -> tuple[list[Pattern], float]:
    """Patterns for the lengths, no dearer than ``good``, and the least that any patterns cost.
    Stops when the cost is down to ``enough`` or after so many ``dives``: the first in a hurry, the
    second careful, others with chance in the choice."""
    root = programme(stock, Counter(lengths), set(good))
    bound = stock.rounded(root.bound)
    best = good
    for turn in range(dives if len(set(lengths)) <= _MANY else 1):
        if stock.total(best) <= max(bound, enough) + 1e-6:
            break
        best = _dive(stock, Counter(lengths), root, best, turn, set())
    return best, bound


def cheapest(stock: Stock, lengths: list[int], good: list[Pattern]) -> list[Pattern]:
    """Patterns no dearer than ``good``: the cheapest of all that come up in the programmes of a few
    dives, as an integer programme, as far as that is solved in some nodes of branch and bound."""
    root = programme(stock, Counter(lengths), set(good))
    need = Counter(lengths)
    bound = stock.rounded(root.bound)
    known = set(root.patterns)
    for turn in range(_GATHERED):
        if stock.total(good) <= bound + 1e-6:
            return good
        good = _dive(stock, Counter(lengths), root, good, turn, known)
    found = _once(_cheapest(stock, sorted(known), need, bound), need)
    if found and stock.total(found) < stock.total(good) - 1e-9:
        return found
    return good


def _cheapest(
    stock: Stock, patterns: list[Pattern], need: Counter[int], enough: float
) -> list[Pattern]:
    """The cheapest of the patterns that hold what is needed, or more; ``enough``: a cost that will
    do. Empty where none were found."""
    row = {length: k for k, length in enumerate(sorted(need))}
    solver = highs.solver(mip_max_nodes=_NODES, objective_target=enough + 1e-6 * stock.costs[0])
    for length in row:
        solver.addRow(need[length], highspy.kHighsInf, 0, [], [])
    for pattern in patterns:
        held = Counter(pattern)
        rows = [row[length] for length in held]
        solver.addCol(stock.cost(sum(pattern)), 0, need.total(), len(rows), rows, [*held.values()])
    every = np.arange(len(patterns), dtype=np.int32)
    solver.changeColsIntegrality(
        len(every), every, np.full(len(every), highspy.HighsVarType.kInteger)
    )
    solver.run()
    if solver.getInfo().primal_solution_status != _FEASIBLE:
        return []
    use = np.rint(solver.getSolution().col_value).astype(int)
    return [pattern for pattern, times in zip(patterns, use, strict=True) for _ in range(times)]


def _once(patterns: list[Pattern], need: Counter[int]) -> list[Pattern]:
    """Patterns that hold every length at least as often as needed, without what is too much; empty
    where they do not."""
    left = Counter(need)
    out = []
    for pattern in patterns:
        held = []
        for length in pattern:
            if left[length]:
                left[length] -= 1
                held.append(length)
        out.append(tuple(held))
    if not +left:
        return [pattern for pattern in out if pattern]
    return []


def _dive(
    stock: Stock,
    left: Counter[int],
    root: SolvedLengths,
    best: list[Pattern],
    turn: int,
    known: set[Pattern],
) -> list[Pattern]:
    """Patterns by taking those the programme uses whole, or else those it uses most, time and
    again; but ``once`` where solving it again would take too long. All patterns that come up are
    added to what is ``known``."""
    once = len(left) > _MANY
    part = _HURRIED if turn == 0 else _CAREFUL
    chance = np.random.default_rng(turn)
    taken: list[Pattern] = []
    found = root
    cost = stock.total(best)
    columns = set(root.patterns)
    while left:
        for pattern in _whole(found, left) or _most_used(
            found, left, part, chance if turn > 1 else None
        ):
            taken.append(pattern)
            left -= Counter(pattern)
        rest = list(left.elements())
        trial = taken + min(
            (how(stock.lengths[0], rest) for how in (best_fit, fill)), key=stock.total
        )
        if stock.total(trial) < cost - 1e-9:
            best = trial
            cost = stock.total(trial)
        if not left or once or cost <= stock.rounded(root.bound) + 1e-6:
            break
        found = programme(stock, left, columns)
        columns |= set(found.patterns)
        known |= columns
        if stock.rounded(stock.total(taken) + found.objective) > cost - 1e-6:
            break
    return best


def _whole(found: SolvedLengths, left: Counter[int]) -> list[Pattern]:
    """The patterns the programme uses whole, as often as it does."""
    times = np.floor(found.use + 1e-6).astype(int)
    out = []
    rest = Counter(left)
    for k in np.flatnonzero(times).tolist():
        wanted = Counter(found.patterns[k])
        for _ in range(times[k]):
            if all(rest[length] >= n for length, n in wanted.items()):
                out.append(found.patterns[k])
                rest -= wanted
    return out


def _most_used(
    found: SolvedLengths, left: Counter[int], part: int, chance: np.random.Generator | None
) -> list[Pattern]:
    """The patterns the programme uses most, one in ``part`` of all it uses."""
    out = []
    rest = Counter(left)
    use = found.use
    if chance:
        use = found.use * chance.random(len(found.use))
    for k in np.argsort(-use, kind="stable").tolist():
        wanted = Counter(found.patterns[k])
        if all(rest[length] >= n for length, n in wanted.items()):
            out.append(found.patterns[k])
            rest -= wanted
        if len(out) >= max(1, int(found.use.sum() / part)):
            break
    return out


@dataclass(frozen=True)
class SolvedLengths:
    """A solved linear programme: patterns and their use, its objective, and the least any patterns
    cost."""

    patterns: list[Pattern]
    use: np.ndarray
    objective: float
    bound: float


def programme(stock: Stock, left: Counter[int], columns: set[Pattern]) -> SolvedLengths:
    """The linear programme of these demands, begun from those of ``columns`` that fit them."""
    lengths = np.array(sorted(left))
    rooms = np.array(stock.lengths)
    costs = np.array(stock.costs)
    demand = np.array([left[int(length)] for length in lengths])
    row = {int(length): k for k, length in enumerate(lengths)}
    copies = np.repeat(np.arange(len(lengths)), np.minimum(demand, stock.lengths[0] // lengths))
    master = Master(demand, stock.costs[0])
    patterns = list[Pattern]()

    def add(some: list[Pattern]) -> None:
        counted = [
            np.bincount([row[length] for length in pattern], minlength=len(lengths))
            for pattern in some
        ]
        fit = [k for k, counts in enumerate(counted) if (counts <= demand).all()]
        if fit:
            master.add([stock.cost(sum(some[k])) for k in fit], np.array([counted[k] for k in fit]))
            patterns.extend(some[k] for k in fit)

    add([(length,) for length in lengths.tolist()])
    add(sorted(p for p in columns if len(p) > 1 and all(length in row for length in p)))
    known = set(patterns)
    bound = -math.inf
    for _ in range(_ROUNDS):
        objective, use, value = master.solve()
        found, table = pricing.fills(lengths[copies], value[copies], rooms, costs, _PATTERNS)
        bound = max(bound, objective / max(1.0, float((table[rooms] / costs).max())))
        fresh = set(found) - known
        if not fresh:
            break
        add(sorted(fresh))
        known |= fresh
    objective, use, _ = master.solve()
    return SolvedLengths(patterns, use, objective, bound)


def best_fit(roll: int, lengths: list[int]) -> list[Pattern]:
    """Best fit decreasing: each length to the fullest roll that still takes it."""
    rolls: list[list[int]] = []
    rooms: list[tuple[int, int]] = []  # (free length, roll), sorted
    for length in sorted(lengths, reverse=True):
        at = bisect_left(rooms, (length, -1))
        if at < len(rooms):
            room, roll_at = rooms.pop(at)
        else:
            room = roll
            roll_at = len(rolls)
            rolls.append([])
        rolls[roll_at].append(length)
        insort(rooms, (room - length, roll_at))
    return [tuple(pattern) for pattern in rolls]


def fill(roll: int, lengths: list[int], marks: frozenset[int] = frozenset()) -> list[Pattern]:
    """Roll by roll: the longest left, with those that together with it fill the roll to the
    greatest of ``marks`` (the whole roll if none are given)."""
    left = sorted(lengths, reverse=True)
    groups = []
    while left:
        spread = 1 + len(left) // _LOOK  # looks at long and short ones alike
        group = subset([left[0], *left[1::spread]], marks or {roll}, roll)
        for length in group:
            del left[bisect_left(left, -length, key=int.__neg__)]
        groups.append(tuple(group))
    return groups


_LOOK = 200  # lengths looked at to fill one roll


def subset(lengths: list[int], marks: Set[int], most: int) -> list[int]:
    """A subset that contains the first length and sums to the greatest mark within ``most``; to the
    greatest sum where no mark is met."""
    if sum(lengths) <= most:
        return list(lengths)
    mask = (1 << (most + 1)) - 1
    best = max(marks)
    reached = [1 << lengths[0]]
    for length in lengths[1:]:
        if reached[-1] >> best & 1:
            break
        reached.append((reached[-1] | reached[-1] << length) & mask)
    sums = reached[-1]
    total = next(
        (mark for mark in sorted(marks, reverse=True) if sums >> mark & 1), sums.bit_length() - 1
    )
    chosen = []
    for k in range(len(reached) - 1, 0, -1):
        if not reached[k - 1] >> total & 1:
            chosen.append(lengths[k])
            total -= lengths[k]
    return [lengths[0], *reversed(chosen)]
