"""Rolls begun at one lot and carried on to the next: which pieces share a roll, compiled.

Lots are worked one after the other. A plan is changed a little at a time: some pieces that lie near
each other in that order are taken off their rolls (or an area is laid another way), and each goes
where it costs least: to the end of a lane, beside the lanes of a section, as a new section of a
roll, on a new roll. A change is kept where it costs less, or little more: ever less as time goes on
(ruin and recreate, Schrimpf et al. 2000; threshold accepting, Dueck and Scheuer 1990; both from
memory). All is counted in whole numbers, so that every processor makes the same plan.

The plan stands in tables of whole numbers, their columns named below. What breaks a rule (too many
rolls open, a lot on too many rolls) is counted apart from money, as ``UNITS``: a plan is only kept
where there are none. Every lot cut from rolls of its own, which a search begins with, breaks none.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from geoturf.compiled import Ints, inlined, inner, int64, jit

# columns of ``piece``: what is to be cut, and the lane it lies in (-1: it is not laid)
LENGTH, WIDTH, LOT, GROUP, LANE = range(5)
# of ``lane``, ``section`` and ``roll``: what it is part of, its extent, how many it holds, which
PART_OF, LONG, WIDE, MANY, HELD = range(5)
# of ``roll`` where they differ: the first and the last lot it serves, the steps used of it
FIRST = PART_OF
USED = LONG
LAST = WIDE
LANE_HOLDS = 8
SECTION_HOLDS = 16
ROLL_HOLDS = 64
# of ``lot``: rolls open when it is done; begun before it and open after; that serve it alone; it
# draws on; of these, shared with others; a mark
OPEN, THROUGH, OWN, DRAWN, SHARED, SEEN = range(6)
# of ``group``, turf of one product and roll width: usable width, longest roll, number of the
# product
ROLL_WIDTH, ROLL_LENGTH, TURF = range(3)
# of ``area``: its pieces, from and to; the layouts it is offered, from and to; the one it has
FROM, TO, OFFERED, UP_TO, CHOSEN = range(5)
# of ``rule``: most rolls open, rolls a lot draws on, money for each, for a rule broken; lots apart
OPEN_ROLLS, ROLLS_A_LOT, A_DRAW, A_UNIT, REACH = range(5)
# of ``tally``: money, rules broken, state of chance, which of the ``bills`` holds, a running stamp
MONEY, UNITS, CHANCE, BILL, STAMP = range(5)

_SWITCHED = 60  # pieces of an area that is laid another way, at most
_CLEARED = 12  # sections of a roll that is cleared whole, at most
_TRIES = 8  # areas looked at for another piece nearby
_WEIGHED = 250  # turns after which a broken rule is weighed anew
_FAR = 1 << 40


class Plan(NamedTuple):
    """The tables, as above. ``layout`` (n, 3): first piece, end, money for seams; ``bills`` (2, g,
    longest + 1): money for so many steps, smoothed and as billed; ``near`` (products, lots + 1):
    first area of each lot, areas sorted by product and lot; ``free`` (3, rows + 1): unused lanes,
    sections, rolls, their number first; ``met``: rolls last looked at; ``seen`` (rows, 2): stamp of
    the look, and whether the piece's lot is on the roll."""

    piece: Ints
    group: Ints
    area: Ints
    layout: Ints
    bills: Ints
    near: Ints
    rule: Ints
    lane: Ints
    section: Ints
    roll: Ints
    lot: Ints
    free: Ints
    met: Ints
    seen: Ints
    tally: Ints


@inlined
def _chance(tally: Ints, below: int) -> int:
    """A number from 0 to ``below`` - 1 (Marsaglia's xorshift, kept to 63 bits)."""
    x = tally[CHANCE]
    x ^= (x << 13) & 0x7FFFFFFFFFFFFFFF
    x ^= x >> 7
    x ^= (x << 17) & 0x7FFFFFFFFFFFFFFF
    tally[CHANCE] = x
    drawn: int = (x >> 11) % below
    return drawn


@inlined
def _charge(lot: Ints, rule: Ints, tally: Ints, k: int, sign: int) -> None:
    """What lot ``k`` comes to as it stands: added (``sign`` 1) or taken away (-1)."""
    units = max(int64(0), lot[k, OPEN] - rule[OPEN_ROLLS])
    if lot[k, OWN] > 0:  # cut between those that are carried through
        units += max(int64(0), lot[k, THROUGH] + 1 - rule[OPEN_ROLLS])
    units += max(int64(0), min(lot[k, DRAWN] - rule[ROLLS_A_LOT], lot[k, SHARED]))
    tally[UNITS] += sign * units
    tally[MONEY] += sign * rule[A_DRAW] * lot[k, DRAWN]


@inner
def _account(plan: Plan, r: int, sign: int) -> None:
    """A roll added to what its lots and the plan come to (``sign`` 1), or taken away (-1)."""
    piece = plan.piece
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    lot = plan.lot
    rule = plan.rule
    tally = plan.tally
    if roll[r, MANY] == 0:
        return
    if sign > 0:
        first = int64(_FAR)
        last = int64(-1)
        for a in range(roll[r, MANY]):
            s = roll[r, HELD + a]
            for b in range(section[s, MANY]):
                n = section[s, HELD + b]
                for c in range(lane[n, MANY]):
                    k = piece[lane[n, HELD + c], LOT]
                    first = min(first, k)
                    last = max(last, k)
        roll[r, FIRST] = first
        roll[r, LAST] = last
    first = roll[r, FIRST]
    last = roll[r, LAST]
    group = piece[lane[section[roll[r, HELD], HELD], HELD], GROUP]
    tally[MONEY] += sign * plan.bills[tally[BILL], group, roll[r, USED]]
    for k in range(first, last + 1):
        _charge(lot, rule, tally, k, -1)
        if first == last:
            lot[k, OWN] += sign
        if k < last:
            lot[k, OPEN] += sign
        if first < k < last:
            lot[k, THROUGH] += sign
        lot[k, SEEN] = 0
    for a in range(roll[r, MANY]):
        s = roll[r, HELD + a]
        for b in range(section[s, MANY]):
            n = section[s, HELD + b]
            for c in range(lane[n, MANY]):
                k = piece[lane[n, HELD + c], LOT]
                if lot[k, SEEN] == 0:
                    lot[k, SEEN] = 1
                    lot[k, DRAWN] += sign
                    if first < last:
                        lot[k, SHARED] += sign
    for k in range(first, last + 1):
        _charge(lot, rule, tally, k, 1)


@inlined
def _measure(piece: Ints, lane: Ints, section: Ints, roll: Ints, n: int, s: int, r: int) -> None:
    """Extents of a lane, its section and its roll, from what they hold."""
    long = int64(0)
    wide = int64(0)
    for c in range(lane[n, MANY]):
        long += piece[lane[n, HELD + c], LENGTH]
        wide = max(wide, piece[lane[n, HELD + c], WIDTH])
    lane[n, LONG] = long
    lane[n, WIDE] = wide
    long = int64(0)
    wide = int64(0)
    for b in range(section[s, MANY]):
        long = max(long, lane[section[s, HELD + b], LONG])
        wide += lane[section[s, HELD + b], WIDE]
    roll[r, USED] += long - section[s, LONG]
    section[s, LONG] = long
    section[s, WIDE] = wide


@inlined
def _drop(table: Ints, row: int, what: int) -> bool:
    """Takes ``what`` out of a row. Gives whether that was all it held."""
    last = table[row, MANY] - 1
    for a in range(last):
        if table[row, HELD + a] == what:
            table[row, HELD + a] = table[row, HELD + last]
            break
    table[row, MANY] = last
    return bool(last == 0)


@inlined
def _hold(table: Ints, row: int, what: int) -> None:
    table[row, HELD + table[row, MANY]] = what
    table[row, MANY] += 1


@inlined
def _give_back(free: Ints, which: int, row: int) -> None:
    free[which, 0] += 1
    free[which, free[which, 0]] = row


@inlined
def _unused(free: Ints, which: int, table: Ints) -> int:
    """An unused row of a table, made empty."""
    row: int = free[which, free[which, 0]]
    free[which, 0] -= 1
    table[row, LONG] = 0
    table[row, WIDE] = 0
    table[row, MANY] = 0
    return row


@inner
def _take(plan: Plan, p: int, left: Ints) -> None:
    """A piece off its roll. ``left`` (3,): the lane, section and roll that it lay in, -1 where
    nothing is left of them: where `_put` takes it back to, last taken first."""
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    free = plan.free
    n = plan.piece[p, LANE]
    s = lane[n, PART_OF]
    r = section[s, PART_OF]
    _account(plan, r, -1)
    left[0] = n
    left[1] = s
    left[2] = r
    plan.piece[p, LANE] = -1
    bare = _drop(lane, n, p)
    empty = bare and _drop(section, s, n)
    _measure(plan.piece, lane, section, roll, n, s, r)
    if bare:
        left[0] = -1
        _give_back(free, 0, n)
    if empty:
        left[1] = -1
        _give_back(free, 1, s)
        if _drop(roll, r, s):
            left[2] = -1
            _give_back(free, 2, r)
    _account(plan, r, 1)


@inner
def _put(plan: Plan, p: int, place: Ints) -> None:
    """A piece to the end of a lane, ``place`` (3,) being lane, section and roll: into a new lane
    where the first is -1, a new section where the second is, on a new roll where the third is."""
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    free = plan.free
    n = place[0]
    s = place[1]
    r = place[2]
    if r < 0:
        r = _unused(free, 2, roll)
    _account(plan, r, -1)
    if s < 0:
        s = _unused(free, 1, section)
        section[s, PART_OF] = r
        _hold(roll, r, s)
    if n < 0:
        n = _unused(free, 0, lane)
        lane[n, PART_OF] = s
        _hold(section, s, n)
    _hold(lane, n, p)
    plan.piece[p, LANE] = n
    _measure(plan.piece, lane, section, roll, n, s, r)
    _account(plan, r, 1)


@inlined
def _spread(lot: Ints, rule: Ints, first: int, last: int, t: int) -> int:
    """Rules broken more where a roll from lot ``first`` to ``last`` serves lot ``t`` too."""
    units = int64(0)
    for k in range(min(first, t), max(last, t)):
        if k < first or k >= last:
            units += int64(lot[k, OPEN] >= rule[OPEN_ROLLS])
        if (k <= first or k >= last) and k != t and k > min(first, t) and lot[k, OWN] > 0:
            units += int64(lot[k, THROUGH] >= rule[OPEN_ROLLS] - 1)
    return units


@inlined
def _bounds(plan: Plan, g: int, t: int) -> tuple[int, int]:
    """First area and end of those of the same product at lots near ``t``."""
    turf = plan.group[g, TURF]
    reach = plan.rule[REACH]
    low = max(int64(0), t - reach)
    high = min(int64(len(plan.lot)), t + reach + 1)
    return plan.near[turf, low], plan.near[turf, high]


@inner
def _rolls_near(plan: Plan, g: int, t: int) -> int:
    """How many rolls of a group serve lots near ``t``; they stand in ``met``."""
    piece = plan.piece
    area = plan.area
    seen = plan.seen
    plan.tally[STAMP] += 1
    stamp = plan.tally[STAMP]
    count = int64(0)
    low, high = _bounds(plan, g, t)
    for a in range(low, high):
        for q in range(area[a, FROM], area[a, TO]):
            if piece[q, GROUP] != g or piece[q, LANE] < 0:
                continue
            r = plan.section[plan.lane[piece[q, LANE], PART_OF], PART_OF]
            if seen[r, 0] != stamp:
                seen[r, 0] = stamp
                seen[r, 1] = 0
                plan.met[count] = r
                count += 1
            if piece[q, LOT] == t:
                seen[r, 1] = 1
    return count


@inner
def _find_place(plan: Plan, p: int, place: Ints) -> None:
    """Where a piece costs least, as `_put` takes it; of places that cost the same, the tightest.
    One roll in 64 is overlooked, so that not all turns are alike."""
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    lot = plan.lot
    rule = plan.rule
    piece = plan.piece
    tally = plan.tally
    g = piece[p, GROUP]
    t = piece[p, LOT]
    long = piece[p, LENGTH]
    wide = piece[p, WIDTH]
    width = plan.group[g, ROLL_WIDTH]
    length = plan.group[g, ROLL_LENGTH]
    bill = plan.bills[tally[BILL], g]
    many = lot[t, DRAWN] >= rule[ROLLS_A_LOT] and lot[t, SHARED] > 0
    draw = rule[A_DRAW] + rule[A_UNIT] * int64(many)
    alone = int64(lot[t, OWN] == 0 and lot[t, THROUGH] >= rule[OPEN_ROLLS])
    best = bill[long] + draw + rule[A_UNIT] * alone
    fit = int64(_FAR)
    place[0] = -1
    place[1] = -1
    place[2] = -1
    for a in range(_rolls_near(plan, g, t)):
        r = plan.met[a]
        if _chance(tally, 64) == 0:
            continue
        used = roll[r, USED]
        more = int64(0) if plan.seen[r, 1] else draw
        more += rule[A_UNIT] * _spread(lot, rule, roll[r, FIRST], roll[r, LAST], t)
        if more > best:
            continue
        more -= bill[used]
        if used + long <= length and roll[r, MANY] < ROLL_HOLDS:
            cost = more + bill[used + long]
            if cost < best or (cost == best and fit == _FAR):
                best = cost
                fit = int64(_FAR - 1)
                place[0] = -1
                place[1] = -1
                place[2] = r
        for b in range(roll[r, MANY] if wide < width else 0):
            s = roll[r, HELD + b]
            spare = width - section[s, WIDE]
            if spare >= wide and section[s, MANY] < SECTION_HOLDS:
                grown = used + max(int64(0), long - section[s, LONG])
                poor = abs(section[s, LONG] - long) * wide + long * (spare - wide)
                if grown <= length and (
                    more + bill[grown] < best or (more + bill[grown] == best and poor < fit)
                ):
                    best = more + bill[grown]
                    fit = poor
                    place[0] = -1
                    place[1] = s
                    place[2] = r
            for c in range(section[s, MANY]):
                n = section[s, HELD + c]
                if lane[n, MANY] >= LANE_HOLDS or wide > lane[n, WIDE] + spare:
                    continue
                if lane[n, WIDE] == width:
                    continue
                after = lane[n, LONG] + long
                grown = used + max(int64(0), after - section[s, LONG])
                poor = abs(section[s, LONG] - after) * lane[n, WIDE]
                poor += long * abs(lane[n, WIDE] - wide)
                if grown <= length and (
                    more + bill[grown] < best or (more + bill[grown] == best and poor < fit)
                ):
                    best = more + bill[grown]
                    fit = poor
                    place[0] = n
                    place[1] = s
                    place[2] = r


@inner
def _sort(keys: Ints, values: Ints, count: int) -> None:
    """The first ``count`` of both, by falling key (few at a time)."""
    for i in range(1, count):
        key = keys[i]
        value = values[i]
        j = i - 1
        while j >= 0 and keys[j] < key:
            keys[j + 1], values[j + 1] = keys[j], values[j]
            j -= 1
        keys[j + 1] = key
        values[j + 1] = value


@inner
def _lay(plan: Plan, a: int, layout: int) -> None:
    """An area is to have a layout, none of its pieces being on a roll."""
    plan.tally[MONEY] += plan.layout[layout, 2] - plan.layout[plan.area[a, CHOSEN], 2]
    plan.area[a, CHOSEN] = layout
    plan.area[a, FROM], plan.area[a, TO] = plan.layout[layout, 0], plan.layout[layout, 1]


@inner
def _clear(plan: Plan, p: int, whole: bool, gone: Ints, left: Ints, out: int) -> int:
    """Takes the pieces of a piece's section, or of its ``whole`` roll, and notes them from ``out``
    on. Gives how many are noted then."""
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    s = lane[plan.piece[p, LANE], PART_OF]
    r = section[s, PART_OF]
    more = int64(1)
    while more > 0:
        if whole:
            s = roll[r, HELD]
        n = section[s, HELD]
        more = lane[n, MANY] + section[s, MANY] - 2
        if whole:
            more += roll[r, MANY] - 1
        gone[out] = lane[n, HELD]
        _take(plan, gone[out], left[out])
        out += 1
    return out


@inner
def _another(plan: Plan, p: int) -> int:
    """A piece of the same product near a piece, by chance; the piece itself where none was met."""
    low, high = _bounds(plan, plan.piece[p, GROUP], plan.piece[p, LOT])
    for _ in range(_TRIES):
        b = low + _chance(plan.tally, high - low)
        if plan.area[b, TO] > plan.area[b, FROM]:
            q: int = plan.area[b, FROM] + _chance(plan.tally, plan.area[b, TO] - plan.area[b, FROM])
            if plan.piece[q, LANE] >= 0:
                return q
    return p


@inner
def _put_back(plan: Plan, waiting: Ints, keys: Ints, count: int, place: Ints) -> None:
    """Pieces each to where it costs least: the longest first, or the largest, or as it comes."""
    how = _chance(plan.tally, 4)
    for i in range(count):
        long = plan.piece[waiting[i], LENGTH]
        wide = plan.piece[waiting[i], WIDTH]
        if how == 0:
            keys[i] = _chance(plan.tally, 1 << 20)
        elif how == 1:
            keys[i] = long * wide
        else:
            keys[i] = (long << 20) + wide
    _sort(keys, waiting, count)
    for i in range(count):
        _find_place(plan, waiting[i], place)
        _put(plan, waiting[i], place)


@inner
def _note(plan: Plan, best: Ints) -> None:
    """The plan as it stands: lane, section and roll of each piece, -1 where it is not laid."""
    for p in range(len(plan.piece)):
        best[p, 0] = -1
    for a in range(len(plan.area)):
        for p in range(plan.area[a, FROM], plan.area[a, TO]):
            n = plan.piece[p, LANE]
            best[p, 0], best[p, 1] = n, plan.lane[n, PART_OF]
            best[p, 2] = plan.section[plan.lane[n, PART_OF], PART_OF]


@inner
def _bill_exactly(plan: Plan) -> None:
    """From now on a roll costs what is billed."""
    lane = plan.lane
    section = plan.section
    roll = plan.roll
    for r in range(len(roll)):
        if roll[r, MANY] > 0:
            g = plan.piece[lane[section[roll[r, HELD], HELD], HELD], GROUP]
            plan.tally[MONEY] += plan.bills[1, g, roll[r, USED]] - plan.bills[0, g, roll[r, USED]]
    plan.tally[BILL] = 1


@inner
def _weigh(plan: Plan, lightest: int) -> None:
    """A broken rule weighs more while some are broken, and less, down to ``lightest``, while none
    are: so the search keeps near the border of what is allowed, whatever turf costs."""
    weight = plan.rule[A_UNIT]
    if plan.tally[UNITS] > 0:
        plan.rule[A_UNIT] = min(weight + weight // 2 + 1, int64(_FAR))
    else:
        plan.rule[A_UNIT] = max(weight - weight // 8, lightest)


class _Desk(NamedTuple):
    """What a turn works on, made once: pieces taken off (n,) and where each lay (n, 3); pieces
    waiting for a place (n,) and the keys they are sorted by (n,); a place (3,)."""

    gone: Ints
    left: Ints
    waiting: Ints
    keys: Ints
    place: Ints


@inner
def _begin(plan: Plan, place: Ints) -> None:
    """Every piece on a roll of its own."""
    for a in range(len(plan.area)):
        plan.tally[MONEY] += plan.layout[plan.area[a, CHOSEN], 2]
        for p in range(plan.area[a, FROM], plan.area[a, TO]):
            place[0] = -1
            place[1] = -1
            place[2] = -1
            _put(plan, p, place)


@inner
def _switch(plan: Plan, a: int, new: int, desk: _Desk) -> tuple[int, int]:
    """An area's pieces taken off, and those of the layout ``new`` waiting. Gives how many."""
    out = int64(0)
    count = int64(0)
    for q in range(plan.area[a, FROM], plan.area[a, TO]):
        desk.gone[out] = q
        _take(plan, q, desk.left[out])
        out += 1
    _lay(plan, a, new)
    for q in range(plan.area[a, FROM], plan.area[a, TO]):
        desk.waiting[count] = q
        count += 1
    return out, count


@inner
def _clear_near(plan: Plan, p: int, roll_too: bool, desk: _Desk, out: int) -> int:
    """Takes off what lies about a piece, and about one or two more nearby, noted from ``out`` on:
    the first's whole roll where that is meant (``roll_too``) and not too much. Gives how many are
    noted then."""
    for c in range(1 + _chance(plan.tally, 3)):
        if plan.piece[p, LANE] >= 0:
            r = plan.section[plan.lane[plan.piece[p, LANE], PART_OF], PART_OF]
            whole = roll_too and c == 0 and plan.roll[r, MANY] <= _CLEARED
            out = _clear(plan, p, whole, desk.gone, desk.left, out)
        p = _another(plan, p)
    return out


@inner
def _undo(plan: Plan, a: int, old: int, desk: _Desk, out: int, count: int) -> None:
    """A turn taken back, last first: ``count`` pieces put, ``out`` taken before, and the layout
    ``old`` of the area."""
    for i in range(count - 1, -1, -1):
        _take(plan, desk.waiting[i], desk.place)
    if plan.area[a, CHOSEN] != old:
        _lay(plan, a, old)
    for i in range(out - 1, -1, -1):
        _put(plan, desk.gone[i], desk.left[i])


@jit
def carried_on(plan: Plan, rounds: int, heat: Ints, chances: Ints) -> tuple[Ints, Ints]:
    """Where each piece (n, 3) lies: lane, section and roll, -1 where its layout is not chosen; and
    the layout of each area.

    ``plan``: its tables, every area with the first layout it is offered, nothing laid, and all rows
    free; ``heat`` (2,): money that a change may cost more, at first and at last, times one of
    ``chances`` in 1024ths.
    """
    n = len(plan.piece)
    tally = plan.tally
    area = plan.area
    desk = _Desk(
        np.zeros(n, np.int64),
        np.zeros((n, 3), np.int64),
        np.zeros(n, np.int64),
        np.zeros(n, np.int64),
        np.zeros(3, np.int64),
    )
    _begin(plan, desk.place)
    best = np.full((n, 3), -1, np.int64)
    chosen = area[:, CHOSEN].copy()
    least = tally[MONEY]
    _note(plan, best)
    exactly = rounds * 2 // 3
    lightest = plan.rule[A_UNIT]
    for turn in range(rounds):
        if turn == exactly:
            _bill_exactly(plan)
            least = int64(1 << 60)
        if turn % _WEIGHED == 0:
            _weigh(plan, lightest)
        a = _chance(tally, len(area))
        if area[a, TO] == area[a, FROM]:
            continue
        before = tally[MONEY]
        units = tally[UNITS]
        old = area[a, CHOSEN]
        p = area[a, FROM] + _chance(tally, area[a, TO] - area[a, FROM])
        kind = _chance(tally, 8)
        out = int64(0)
        count = int64(0)
        new = area[a, OFFERED] + _chance(tally, area[a, UP_TO] - area[a, OFFERED])
        if kind < 3 and new != old and area[a, TO] - area[a, FROM] <= _SWITCHED:
            out, count = _switch(plan, a, new, desk)
        kept = out
        out = _clear_near(plan, p, kind == 7, desk, out)
        for i in range(kept, out):
            desk.waiting[count] = desk.gone[i]
            count += 1
        _put_back(plan, desk.waiting, desk.keys, count, desk.place)
        worse = tally[MONEY] - before + plan.rule[A_UNIT] * (tally[UNITS] - units)
        cooled = min(turn, exactly)
        allowed = heat[0] + (heat[1] - heat[0]) * cooled // max(int64(1), exactly)
        if worse > 0 and worse * 1024 > allowed * chances[_chance(tally, len(chances))]:
            _undo(plan, a, old, desk, out, count)
        elif tally[UNITS] == 0 and tally[MONEY] < least:
            least = tally[MONEY]
            _note(plan, best)
            chosen[:] = area[:, CHOSEN]
    return best, chosen
