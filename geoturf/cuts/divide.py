"""Strips divided where that fills whole rolls.

Where whole rolls are sold, a roll of long strips ends in a rest that nothing fits. A full strip cut
in lengths takes up such rests: that costs a cross seam a joint and two more end allowances, and
spares a roll. Rolls are given up one after the other, the emptiest first: each of their sections
goes whole into the smallest rest that holds it or, a full strip, in lengths that fill the largest.
A roll stays where rests run out, a length would be shorter than the rules allow, joints of
neighbouring strips would nearly meet, or the roll is not worth twice what the seams cost.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
import shapely

from geoturf.cuts.job import Bought, Job, used
from geoturf.cuts.sections import tidy
from geoturf.model import Ground, Layout
from geoturf.rules import CROSS_WORTH, LayoutRules
from geoturf.units import round_down, round_up

CLEAR_M = 0.3  # joints of neighbouring strips lie further apart than this
TOUCH_M = 1e-5  # strips this close across are neighbours
_ORDERS = 24  # of a strip's lengths, tried for joints that stay clear of others

#: a layout, the turf it is of, the joints of each of its pieces, the rules -> the layout with its
#: pieces parted there
CutAcross = Callable[[Layout, shapely.Geometry, Sequence[Sequence[float]], LayoutRules], Layout]
Part = tuple[int, int]  # a length of strip: the piece it is of, and the steps of roll it takes
Lanes = list[list[Part]]


@dataclass
class Strips:
    """The pieces of a pool as they lie, and the lengths they are divided in: ``lengths``, steps of
    each along the strip; by piece, which is a number through the ``layouts`` of the ``areas``.
    ``whole``: areas whose strips are left as they are."""

    ground: Ground
    areas: Sequence[int]
    layouts: list[Layout]
    step_m: float
    rules: LayoutRules
    whole: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        counts = [len(layout.pieces) for layout in self.layouts]
        self.owner = np.repeat(np.arange(len(counts)), counts).tolist()
        self.first = np.concatenate([[0], np.cumsum(counts)]).astype(int).tolist()
        self.ends_m = 2 * self.rules.end_allowance_m
        self.lengths: dict[int, list[int]] = {}

    def is_full(self, piece: int) -> bool:
        """Whether a piece is as wide as the roll, and may be divided."""
        if self.areas[self.owner[piece]] in self.whole:
            return False
        layout = self.layouts[self.owner[piece]]
        return bool(layout.cut[piece - self.first[self.owner[piece]], 1] >= layout.width_m - 1e-9)

    def laid(self, piece: int) -> list[float]:
        """u0, u1, v0, v1."""
        layout = self.layouts[self.owner[piece]]
        u0, u1, v0, v1 = layout.pieces[piece - self.first[self.owner[piece]]].tolist()
        return [u0, u1, v0, v1]

    def holds(self, steps: int) -> float:
        """Metres of strip that so many steps of roll hold."""
        return steps * self.step_m - self.ends_m

    def takes(self, metres: float) -> int:
        """Steps of roll for so many metres of strip."""
        return round_up(metres + self.rules.both_ends_m, self.step_m)

    def joints(self, piece: int) -> list[float]:
        """u of each joint of a divided strip."""
        at = self.laid(piece)[0]
        out = []
        for steps in self.lengths.get(piece, [])[:-1]:
            at += self.holds(steps)
            out.append(at)
        return out

    def divide(self, part: Part, into: list[int]) -> bool:
        """A length of a strip in shorter ones, in an order whose joints stay clear of the
        neighbours'. False if none does."""
        piece, steps = part
        before = self.lengths.get(piece, [steps])
        at = before.index(steps)
        near = self._near(piece)
        for order in list(dict.fromkeys(permutations(into[:5])))[:_ORDERS]:
            self.lengths[piece] = [*before[:at], *order, *into[5:], *before[at + 1 :]]
            if all(abs(u - other) > CLEAR_M for u in self.joints(piece) for other in near):
                return True
        self.lengths[piece] = before
        return False

    def _near(self, piece: int) -> list[float]:
        """u of joints on strips that touch a piece's long sides."""
        owner = self.owner[piece]
        _, _, v0, v1 = self.laid(piece)
        cross = self.layouts[owner].cross
        beside = (np.abs(cross[:, 2] - v0) < TOUCH_M) | (np.abs(cross[:, 1] - v1) < TOUCH_M)
        near: list[float] = cross[beside, 0].tolist()
        for other in range(self.first[owner], self.first[owner + 1]):
            if other in self.lengths:
                low, high = self.laid(other)[2:]
                if abs(high - v0) < TOUCH_M or abs(low - v1) < TOUCH_M:
                    near += self.joints(other)
        return near

    def made(self, cut_across: CutAcross) -> tuple[list[Layout], dict[int, list[int]]]:
        """The layouts with their strips divided, and the number of each old piece's lengths among
        the new pieces."""
        layouts = []
        number = {}
        count = 0
        for owner, (area, layout) in enumerate(zip(self.areas, self.layouts, strict=True)):
            mine = range(self.first[owner], self.first[owner + 1])
            joints = [self.joints(piece) for piece in mine]
            for piece, ends in zip(mine, joints, strict=True):
                number[piece] = list(range(count, count + len(ends) + 1))
                count += len(ends) + 1
            laid = self.ground.areas["laid"].iloc[area]
            layouts.append(cut_across(layout, laid, joints, self.rules) if any(joints) else layout)
        return layouts, number


class _Rolls:
    """Purchases as sections of lanes of parts, the steps of each that are used, the rests, sorted,
    and what they come to."""

    def __init__(self, job: Job, kind: np.ndarray, bought: Sequence[Bought]):
        self.job = job
        waiting: dict[int, list[int]] = {}
        for piece in range(len(kind) - 1, -1, -1):
            waiting.setdefault(int(kind[piece]), []).append(piece)
        self.sections: list[list[tuple[int, Lanes]]] = [
            [
                (
                    length,
                    [[(waiting[k].pop(), int(job.size[k, 0])) for k in lane] for _, lane in lanes],
                )
                for length, lanes in sections
            ]
            for sections in bought
        ]
        self.used = [used(sections) for sections in bought]
        bills = [job.purchase(steps) for steps in self.used]
        self.price = [price for _, price in bills]
        self.size = [round_down(length, job.step_m) for length, _ in bills]
        self.free = sum(self.size) - sum(self.used)
        self.rests = sorted(
            (size - one, at)
            for at, (size, one) in enumerate(zip(self.size, self.used, strict=True))
        )

    def put(self, roll: int, length: int, lanes: Lanes) -> None:
        """One more section on a roll."""
        self.rests.pop(bisect_left(self.rests, (self.size[roll] - self.used[roll], roll)))
        self.sections[roll].append((length, lanes))
        self.used[roll] += length
        insort(self.rests, (self.size[roll] - self.used[roll], roll))

    def take_back(self, roll: int) -> None:
        """The last section off a roll."""
        self.rests.pop(bisect_left(self.rests, (self.size[roll] - self.used[roll], roll)))
        self.used[roll] -= self.sections[roll].pop()[0]
        insort(self.rests, (self.size[roll] - self.used[roll], roll))


def divided(
    job: Job, kind: np.ndarray, bought: Sequence[Bought], strips: Strips, least_m: float
) -> list[list[Lanes]] | None:
    """``bought`` with fewer rolls: every purchase as sections of lanes of parts, ``strips`` divided
    to match; None where no roll can be spared. ``kind`` (n,): size of each piece; ``least_m``: no
    length is laid shorter than this."""
    rolls = _Rolls(job, kind, bought)
    spared = 0
    for roll in np.argsort(rolls.used, kind="stable").tolist():
        spared += _give_up(rolls, roll, strips, least_m)
    if not spared:
        return None
    return [[lanes for _, lanes in sections] for sections in rolls.sections if sections]


def _give_up(rolls: _Rolls, roll: int, strips: Strips, least_m: float) -> bool:
    """Whether all of a roll went into the rests of others, for less money than it costs; if not,
    nothing has changed."""
    if rolls.free - rolls.size[roll] < 0:
        return False
    rules = strips.rules
    at = bisect_left(rolls.rests, (rolls.size[roll] - rolls.used[roll], roll))
    own = rolls.rests.pop(at)
    known = dict(strips.lengths)
    filled = []
    seams = 0.0
    for length, lanes in sorted(rolls.sections[roll], key=lambda section: -section[0]):
        moved = _rehouse(rolls, length, lanes, strips, least_m)
        filled += moved or []
        if moved and len(moved) > 1:
            _, _, v0, v1 = strips.laid(lanes[0][0][0])
            joint = (v1 - v0) * rules.seam_cost.per_si() + float(rules.cross_seam_cost.amount)
            seams += (len(moved) - 1) * joint
        if not moved or CROSS_WORTH * seams >= rolls.price[roll]:
            for other in reversed(filled):
                rolls.take_back(other)
            strips.lengths = known
            insort(rolls.rests, own)
            return False
    rolls.sections[roll] = []
    rolls.free -= rolls.size[roll]
    return True


def _rehouse(
    rolls: _Rolls, length: int, lanes: Lanes, strips: Strips, least_m: float
) -> list[int] | None:
    """The rolls whose rests took a section, in one or, where it is a full strip, in lengths; None
    where they could not."""
    whole = bisect_left(rolls.rests, (length, -1))
    if whole < len(rolls.rests):
        roll = rolls.rests[whole][1]
        rolls.put(roll, length, lanes)
        return [roll]
    piece, steps = lanes[0][0]
    if not strips.is_full(piece) or len(lanes[0]) > 1:
        return None
    pieces = _lengths(rolls, strips, strips.holds(steps), least_m)
    if pieces is None or not strips.divide((piece, steps), [one for _, one in pieces]):
        return None
    for roll, one in pieces:
        rolls.put(roll, one, [[(piece, one)]])
    return [roll for roll, _ in pieces]


def _lengths(
    rolls: _Rolls, strips: Strips, laid_m: float, least_m: float
) -> list[tuple[int, int]] | None:
    """(roll, steps) of lengths that make up ``laid_m`` of strip: the largest rests filled, the last
    in the smallest that holds it. None where rests run out or a length would be too short."""
    out: list[tuple[int, int]] = []
    for rest, roll in reversed(rolls.rests):
        last = bisect_left(rolls.rests, (strips.takes(laid_m), -1))
        if last < len(rolls.rests) - len(out):
            return [*out, (rolls.rests[last][1], strips.takes(laid_m))]
        steps = rest
        if strips.holds(steps) > laid_m - least_m:
            steps = round_down(laid_m - least_m + strips.ends_m, strips.step_m)
        if strips.holds(steps) < least_m:
            return None
        out.append((roll, steps))
        laid_m -= strips.holds(steps)
    return None


def as_bought(
    job: Job,
    kind: np.ndarray,
    plan: list[list[Lanes]],
    strips: Strips,
    number: dict[int, list[int]],
) -> tuple[Bought, ...]:
    """The purchases of a divided plan in the sizes of its new job, ``kind`` of each of its pieces;
    ``number`` as `Strips.made` gives it."""
    left: dict[Part, list[int]] = {}
    for piece, numbers in number.items():
        for at, one in enumerate(numbers):
            left.setdefault(
                (piece, strips.lengths[piece][at] if piece in strips.lengths else -1), []
            ).append(one)

    def new(piece: int, steps: int) -> int:
        return int(kind[left[piece, steps if piece in strips.lengths else -1].pop()])

    return tuple(
        tuple(
            tidy(job, [tuple(new(*part) for part in lane) for lane in lanes]) for lanes in sections
        )
        for sections in plan
    )
