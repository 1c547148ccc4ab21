"""Which equal piece fills which slot, and which roll is cut next, so that few lots wait for turf at
once."""

from __future__ import annotations

from collections import Counter, deque

from geoturf.cuts.job import Bought

_LOOK = 20  # patterns compared for the next roll
_FEW = 5_000  # rolls: of more the next in line is cut, without comparing
_NEXT = 12  # lots in line for a size that are looked at


class _Waiting:
    """Pieces not yet cut, by size and lot."""

    def __init__(self, kinds: list[int], lots: list[int]):
        self.by_kind: dict[int, dict[int, list[int]]] = {}
        for piece in sorted(range(len(kinds)), key=lambda p: (lots[p], p), reverse=True):
            self.by_kind.setdefault(kinds[piece], {}).setdefault(lots[piece], []).append(piece)
        self.left = Counter(lots)
        self.open: set[int] = set()
        self.line = {kind: sorted(by_lot, reverse=True) for kind, by_lot in self.by_kind.items()}

    def lots_for(self, bought: Bought) -> list[tuple[int, int]]:
        """(kind, lot) for each slot: of the lots next in line, the open one nearest its end, else
        the first."""
        taken: dict[tuple[int, int], int] = {}
        begun = set(self.open)
        left = self.left
        out: list[tuple[int, int]] = []
        for kind in slots(bought):
            by_lot = self.by_kind[kind]
            near = self.line[kind][-_NEXT:]
            line = (
                [lot for lot in near if len(by_lot[lot]) > taken.get((kind, lot), 0)]
                if out
                else near
            )
            if not line:
                others = reversed(self.line[kind])
                line = [next(lot for lot in others if len(by_lot[lot]) > taken.get((kind, lot), 0))]
            started = [lot for lot in line if lot in begun]
            lot = min(started, key=lambda lot: (left[lot], lot)) if started else line[-1]
            begun.add(lot)
            taken[kind, lot] = taken.get((kind, lot), 0) + 1
            out.append((kind, lot))
        return out

    def score(self, chosen: list[tuple[int, int]]) -> int:
        """Lots opened less lots finished by cutting these."""
        cut = Counter(lot for _, lot in chosen)
        return sum(lot not in self.open for lot in cut) - sum(
            self.left[lot] == n for lot, n in cut.items()
        )

    def take(self, chosen: list[tuple[int, int]]) -> list[int]:
        pieces = []
        for kind, lot in chosen:
            pieces.append(self.by_kind[kind][lot].pop())
            if not self.by_kind[kind][lot]:
                del self.by_kind[kind][lot]
                self.line[kind].remove(lot)
            self.left[lot] -= 1
            self.open.add(lot) if self.left[lot] else self.open.discard(lot)
        return pieces


def slots(bought: Bought) -> list[int]:
    """Sizes in the order of their places on the roll: section by section, lane by lane, end to
    end."""
    return [kind for _, lanes in bought for _, lane in lanes for kind in lane]


def sequence(rolls: list[Bought], kinds: list[int], lots: list[int]) -> list[tuple[int, list[int]]]:
    """Row of ``rolls`` and the pieces in its slots, in the order of cutting.

    ``kinds`` and ``lots`` give each piece's size and lot. Greedy: of the patterns next in line, the
    one that opens least."""
    waiting = _Waiting(kinds, lots)
    same: dict[Bought, deque[int]] = {}
    for row, bought in enumerate(rolls):
        same.setdefault(bought, deque()).append(row)
    first_lot = {
        bought: min(min(waiting.by_kind[kind]) for kind in slots(bought)) for bought in same
    }
    line = sorted(same, key=lambda bought: (first_lot[bought], same[bought][0]))
    done = []
    look = _LOOK if len(set(lots)) > 1 and len(rolls) <= _FEW else 1  # of one lot any will do
    while line:
        plans = [waiting.lots_for(bought) for bought in line[:look]]
        best = min(range(len(plans)), key=lambda k: (waiting.score(plans[k]), k))
        rows = same[line[best]]
        done.append((rows.popleft(), waiting.take(plans[best])))
        if not rows:
            line.pop(best)
    return done
