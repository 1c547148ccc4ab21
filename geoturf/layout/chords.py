"""The arms of an area across the pile, and where they part, join or step: what
`geoturf.layout.corners` looks at, compiled.

All in pile coordinates, as in `geoturf.layout.kernel`. A *slab* is a chord of the area that runs,
from line to line, from one straight border edge to another. An *arm* is a run of slabs one above
the other that neither parts nor joins, and whose border takes no large step. Where arms meet, the
one of the longer chord is the *stem*, the others are its *branches*.

A border that is nearly, not quite, along the pile makes a step that takes some lines, and may cut a
sliver off, which parts from the arm on one side and is joined to nothing on the other. Both are
told by their width and left out.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Flags, Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.kernel import crossings, met, u_at

SAME = 1e-9  # slopes and places this close are one
STEP = 0.5  # m: where a border steps by so much an arm ends
SLIVER = (
    0.1  # m: steps that are not quite along the pile, and what they cut off, are no wider than this
)

# columns of slabs; u at the lower v, and (UP) at the upper
LOW, HIGH, LEFT_SLOPE, RIGHT_SLOPE, LEFT, RIGHT, LEFT_UP, RIGHT_UP, GAP, CLOSING, ARM = range(11)
# columns of arms: rows of its slabs from and to; what its lower end is (the upper's follows)
FIRST, AFTER, ENDS = range(3)


@jit
def arms_of(
    views: Floats, vs: Floats, at: Ints, gap: float, wanted: Flags
) -> tuple[Floats, Ints, Ints]:
    """Slabs and arms of an area at several bearings (`geoturf.layout.kernel.views`), of those
    ``wanted``, and where each bearing's arms begin. A slab is a row of its lower and upper v,
    slopes du/dv of its left and right edge, u of these at the lower v and at the upper, the least
    gap to other turf on its lines, and how fast that may close (du/dv). Slabs that go straight on
    are one, where both or neither is nearer than ``gap`` to other turf. An arm is a row of its
    slabs (from, to) and what its ends are: branch of the junction of that number, its stem if it is
    negative, 0 if nothing is told."""
    many = 0
    held = int64(0)
    count = int64(0)
    for b in range(len(at) - 1):
        many += (at[b + 1, 0] - at[b, 0]) * (at[b + 1, 1] - at[b, 1]) // 2 + 1
    slabs = np.empty((many, ARM + 1))
    arms = np.empty((many, 4), np.int64)
    of = np.empty(len(at), np.int64)
    of[0] = 0
    for b in range(len(at) - 1):
        of[b + 1] = count
        if not wanted[b]:
            continue
        rows, ends, junctions = _sweep(
            views[at[b, 0] : at[b + 1, 0]], vs[at[b, 1] : at[b + 1, 1]], gap
        )
        _unite(rows, ends, junctions)
        place = _by_arm(rows, len(ends), slabs, held)
        first = held
        for arm in range(len(ends)):
            if place[arm] > first:
                count, junctions = _split(
                    slabs, first, place[arm], ends, arm, arms, count, junctions
                )
            first = place[arm]
        held = held + len(rows)
        of[b + 1] = count
    return slabs, arms, of


@inner
def _by_arm(rows: Floats, arms: int, slabs: Floats, first: int) -> Ints:
    """Fills ``slabs`` from ``first`` on, arm by arm. Gives where each arm's end."""
    place = np.empty(
        arms + 1, np.int64
    )  # set by loops: what makes zeros takes a tenth of a second to compile
    place[0] = first
    for arm in range(arms):
        place[arm + 1] = 0
    for k in range(len(rows)):
        place[int(rows[k, ARM]) + 1] += 1
    for arm in range(arms):
        place[arm + 1] += place[arm]
    for k in range(len(rows)):
        arm = int(rows[k, ARM])
        for column in range(rows.shape[1]):
            slabs[place[arm], column] = rows[k, column]
        place[arm] += 1
    return place


@inner
def _sweep(edges: Floats, vs: Floats, gap: float) -> tuple[Floats, Ints, int]:
    """Slabs from below, each of an arm that neither parts nor joins; the arms' ends; and how many
    junctions there are."""
    n = len(edges)
    active = np.empty(n, np.int64)
    order = np.empty(n)
    held = int64(0)
    taken = int64(0)
    rows = np.empty((n * len(vs) // 2 + 1, ARM + 1))
    count = int64(0)
    ends = np.empty((len(rows), 2), np.int64)
    arms = int64(0)
    junctions = int64(0)
    before, here, n_before = (
        np.empty(n, np.int64),
        np.empty(n, np.int64),
        0,
    )  # rows of the slab below, left to right
    up = np.empty(n, np.int64)
    down = np.empty(n, np.int64)
    below = np.empty(n, np.int64)
    joint = np.empty(n, np.int64)
    at_low, at_high, slope = (
        np.empty(n),
        np.empty(n),
        np.empty(n),
    )  # of the active edges: u at the slab's v's, du/dv
    for s in range(len(vs) - 1):
        low = vs[s]
        high = vs[s + 1]
        held, taken = met(edges, active, held, taken, low, high)
        crossings(edges, active, held, 0.5 * (low + high), order, int64(1))
        for k in range(held):
            e = active[k]
            at_low[k], at_high[k] = u_at(edges, e, low), u_at(edges, e, high)
            slope[k] = (edges[e, 2] - edges[e, 0]) / (edges[e, 3] - edges[e, 1])
        _meet(rows, before, n_before, at_low, held, up, down, below)
        for b in range(n_before):
            joint[b] = 0
            if up[b] > 1:
                junctions += 1
                joint[b], ends[int(rows[before[b], ARM]), 1] = junctions, -junctions
        for c in range(held // 2):
            _fill(rows, count, at_low, at_high, slope, held, c, low, high)
            b = below[c]
            if down[c] == 1 and up[b] == 1:
                last = before[b]
                rows[count, ARM] = rows[last, ARM]
                if _goes_on(rows, last, count, gap):
                    _add(rows, last, count)
                    here[c] = last
                    continue
            else:
                rows[count, ARM] = arms
                ends[arms, 0] = 0
                ends[arms, 1] = 0
                if down[c] == 1:
                    ends[arms, 0] = joint[b]
                elif down[c] > 1:
                    junctions += 1
                    _join(rows, before, n_before, at_low, c, up, ends, arms, junctions)
                arms += 1
            here[c] = count
            count += 1
        n_before = held // 2
        for c in range(n_before):
            before[c] = here[c]
    return rows[:count], ends[:arms], junctions


@inlined
def _fill(
    rows: Floats,
    at: int,
    at_low: Floats,
    at_high: Floats,
    slope: Floats,
    held: int,
    c: int,
    low: float,
    high: float,
) -> None:
    """Row ``at`` of ``rows``: the slab of the c-th chord."""
    a = 2 * c
    b = 2 * c + 1
    rows[at, LOW] = low
    rows[at, HIGH] = high
    rows[at, LEFT_SLOPE], rows[at, RIGHT_SLOPE] = slope[a], slope[b]
    rows[at, LEFT], rows[at, RIGHT] = at_low[a], at_low[b]
    rows[at, LEFT_UP], rows[at, RIGHT_UP] = at_high[a], at_high[b]
    rows[at, GAP] = np.inf
    rows[at, CLOSING] = 0.0
    if c > 0:
        rows[at, GAP] = min(at_low[a] - at_low[a - 1], at_high[a] - at_high[a - 1])
        rows[at, CLOSING] = abs(slope[a]) + abs(slope[a - 1])
    if b + 1 < held:
        rows[at, GAP] = min(rows[at, GAP], at_low[b + 1] - at_low[b], at_high[b + 1] - at_high[b])
        rows[at, CLOSING] = max(rows[at, CLOSING], abs(slope[b]) + abs(slope[b + 1]))


@inlined
def _meets(rows: Floats, row: int, at_low: Floats, c: int) -> bool:
    """Whether the slab ``row`` below and the c-th chord above overlap."""
    both: bool = min(rows[row, RIGHT_UP], at_low[2 * c + 1]) > max(
        rows[row, LEFT_UP], at_low[2 * c]
    )
    return both


@inlined
def _meet(
    rows: Floats,
    before: Ints,
    n_before: int,
    at_low: Floats,
    held: int,
    up: Ints,
    down: Ints,
    below: Ints,
) -> None:
    """How many chords above each slab below meets, how many slabs below each chord above, and the
    last of these."""
    for b in range(n_before):
        up[b] = 0
    for c in range(held // 2):
        down[c] = 0
        below[c] = 0
        for b in range(n_before):
            if _meets(rows, before[b], at_low, c):
                up[b] += 1
                down[c] += 1
                below[c] = b


@inlined
def _join(
    rows: Floats,
    before: Ints,
    n_before: int,
    at_low: Floats,
    c: int,
    up: Ints,
    ends: Ints,
    stem: int,
    junction: int,
) -> None:
    """The arms below that the c-th chord joins are branches of it, if each of them ends in it
    alone; else nothing is told."""
    alone = True
    for b in range(n_before):
        if up[b] != 1 and _meets(rows, before[b], at_low, c):
            alone = False
    if alone:
        ends[stem, 0] = -junction
        for b in range(n_before):
            if _meets(rows, before[b], at_low, c):
                ends[int(rows[before[b], ARM]), 1] = junction


@inlined
def _goes_on(rows: Floats, last: int, at: int, gap: float) -> bool:
    """Whether two slabs are one: of the same edges, alike near or far from other turf (a steep
    neighbour is kept apart)."""
    bends = abs(rows[last, LEFT_SLOPE] - rows[at, LEFT_SLOPE]) + abs(
        rows[last, RIGHT_SLOPE] - rows[at, RIGHT_SLOPE]
    )
    steps = abs(rows[last, LEFT_UP] - rows[at, LEFT]) + abs(rows[last, RIGHT_UP] - rows[at, RIGHT])
    near = (rows[last, GAP] < gap) == (rows[at, GAP] < gap) and abs(
        rows[last, CLOSING] - rows[at, CLOSING]
    ) < 1.0
    straight: bool = near and bends < SAME and steps < 100 * SAME
    return straight


@inlined
def _add(rows: Floats, last: int, at: int) -> None:
    """Makes the slab ``at`` part of the one below that goes on in it."""
    rows[last, HIGH], rows[last, LEFT_UP], rows[last, RIGHT_UP] = (
        rows[at, HIGH],
        rows[at, LEFT_UP],
        rows[at, RIGHT_UP],
    )
    rows[last, GAP], rows[last, CLOSING] = (
        min(rows[last, GAP], rows[at, GAP]),
        max(rows[last, CLOSING], rows[at, CLOSING]),
    )


@inner
def _unite(rows: Floats, ends: Ints, junctions: int) -> None:
    """Stems with one branch but for slivers go on in it as one arm."""
    height = np.empty(len(ends))
    for arm in range(len(ends)):
        height[arm] = 0.0
    for k in range(len(rows)):
        height[int(rows[k, ARM])] += rows[k, HIGH] - rows[k, LOW]
    for junction in range(1, junctions + 1):
        stem = -1
        branch = -1
        many = 0
        e = 0
        for arm in range(len(ends)):
            for end in range(2):
                if ends[arm, end] == -junction:
                    stem = arm
                    e = end
                elif ends[arm, end] == junction and height[arm] > SLIVER:
                    branch = arm
                    many = many + 1
        if stem >= 0 and many == 1:
            for k in range(len(rows)):
                if rows[k, ARM] == branch:
                    rows[k, ARM] = stem
            height[stem] += height[branch]
            ends[stem, e] = ends[branch, e]
            ends[branch, 0] = 0
            ends[branch, 1] = 0


@inner
def _split(
    slabs: Floats,
    first: int,
    after: int,
    ends: Ints,
    arm: int,
    arms: Ints,
    count: int,
    junctions: int,
) -> tuple[int, int]:
    """Adds the arm of slabs ``first`` to ``after`` to ``arms``: several, if its border steps. The
    longer side of a step is the stem, the other its branch."""
    arms[count, FIRST], arms[count, ENDS], last = first, ends[arm, 0], -1
    for k in range(first, after):
        if slabs[k, HIGH] - slabs[k, LOW] <= SLIVER:
            continue
        if last >= 0 and slabs[k, LOW] - slabs[last, HIGH] <= 2.0 * SLIVER:
            longer = max(
                slabs[k, RIGHT] - slabs[last, RIGHT_UP], slabs[last, LEFT_UP] - slabs[k, LEFT]
            )
            shorter = max(
                slabs[last, RIGHT_UP] - slabs[k, RIGHT], slabs[k, LEFT] - slabs[last, LEFT_UP]
            )
            if max(longer, shorter) >= STEP:
                junctions += 1
                branch = junctions if longer > shorter else -junctions
                arms[count, AFTER] = k
                arms[count, ENDS + 1] = branch
                count += 1
                arms[count, FIRST] = k
                arms[count, ENDS] = -branch
        last = k
    arms[count, AFTER], arms[count, ENDS + 1] = after, ends[arm, 1]
    return count + 1, junctions


@inlined
def chord_m(slabs: Floats, k: int, end: int) -> float:
    """Length (m) of a slab's chord at its lower v (``end`` 0) or its upper (1)."""
    long: float = slabs[k, RIGHT + 2 * end] - slabs[k, LEFT + 2 * end]
    return long
