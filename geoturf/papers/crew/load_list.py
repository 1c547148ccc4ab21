"""What goes on the truck, day by day and lot by lot; the base stone, which comes by its own, beside
it. A thing is brought on the day when the first task at its lot begins that calls for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from geoturf.model import Result
from geoturf.papers.crew import laying, lots
from geoturf.papers.crew.laying import Piece
from geoturf.papers.crew.lots import Lot, Taken
from geoturf.papers.crew.wording import cut_size
from geoturf.records import records
from geoturf.rules.items import ITEMS, tasks_of
from geoturf.units import SYSTEMS, System

_OWN_TRUCK = ("aggregate",)  # what comes by another truck than the crew's
_NEVER = 1 << 40  # the number of no day: after all others


class Begun(NamedTuple):
    """A task of a lot, and the day on which it is begun."""

    phase: str
    site: str
    task: str
    day: int
    date: date | None


class Day(NamedTuple):
    number: int
    date: date | None

    def told(self) -> str:
        if self.number == _NEVER:
            return "No day is known"
        when = ""
        if self.date:
            when = f"{self.date:%A} {self.date}, "
        return f"{when}{'day' if when else 'Day'} {self.number}"


class Load(NamedTuple):
    """What is brought to a lot on a day: pieces with their weight (kg), items."""

    lot: Lot
    pieces: list[tuple[Piece, float]]
    items: list[Taken]

    @property
    def turf_kg(self) -> float:
        return sum(kg for _, kg in self.pieces)

    @property
    def known_kg(self) -> float:
        """Of all whose weight is known, on the crew's own truck."""
        mine = (one for one in self.items if one.key not in _OWN_TRUCK)
        return self.turf_kg + sum(one.weight_kg or 0.0 for one in mine)


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_load_list``."""
    system = SYSTEMS[result.bid.units]
    return {
        "page": result.bid.page,
        "title": f"{result.bid.name}: load list",
        "running": f"{result.bid.name}: load list",
        "name": result.bid.name,
        "slanted": laying.slanted(result),
        "days": [_told(day, some, system) for day, some in loads(result).items()],
    }


def loads(result: Result) -> dict[Day, list[Load]]:
    """Day by day, each in the order of work."""
    days = _days(result)
    taken = lots.taken(result)
    turf = _turf(result)
    out: dict[Day, list[Load]] = defaultdict(list)
    for lot in lots.of(result):
        begun = days.get((lot.phase, lot.site), {})
        by_day: dict[Day, Load] = {}
        for one in taken.get((lot.phase, lot.site), []):
            if ITEMS[one.key].kind != "service":
                day = _day(tasks_of(one.key), begun)
                by_day.setdefault(day, Load(lot, [], [])).items.append(one)
        pieces = [piece for area in lot.areas for piece in turf.get(area, [])]
        if pieces:
            day = _day(tasks_of("turf"), begun)
            by_day.setdefault(day, Load(lot, [], [])).pieces.extend(pieces)
        for day, load in by_day.items():
            out[day].append(load)
    return {day: out[day] for day in sorted(out, key=lambda day: day.number)}


def _days(result: Result) -> dict[tuple[str, str], dict[str, Day]]:
    """When each task of each lot is begun."""
    out: dict[tuple[str, str], dict[str, Day]] = defaultdict(dict)
    if len(result.calendar.begun):
        for row in records(result.calendar.begun, Begun):
            out[row.phase, row.site][f"labour_{row.task}"] = Day(row.day, row.date)
    return out


def _day(tasks: Sequence[str], begun: dict[str, Day]) -> Day:
    """The first of the days on which the tasks begin; the lot's first where none of them does."""
    mine = [begun[task] for task in tasks if task in begun] or list(begun.values())
    return min(mine, key=lambda day: day.number, default=Day(_NEVER, None))


def _turf(result: Result) -> dict[int, list[tuple[Piece, float]]]:
    """The pieces of each area, with their weight (kg)."""
    pieces = result.plan.pieces
    products = result.ground.areas["product"].tolist()
    out: dict[int, list[tuple[Piece, float]]] = defaultdict(list)
    for area, piece in zip(pieces["area_index"].tolist(), records(pieces, Piece), strict=True):
        kg = lots.turf_kg(result, products[area], piece.length_m * piece.width_m)
        out[area].append((piece, kg))
    return out


def _told(day: Day, some: Sequence[Load], system: System) -> dict[str, Any]:
    return {
        "day": day.told(),
        "total": _known(sum(load.known_kg for load in some), system),
        "lots": [_lot(load, system) for load in some],
    }


def _lot(load: Load, system: System) -> dict[str, Any]:
    turf = f"{len(load.pieces)} pieces, {lots.weight(load.turf_kg, system)}"
    return {
        "site": load.lot.site,
        "phase": load.lot.phase,
        "turf": turf if load.pieces else "",
        "pieces": [
            [piece.piece, piece.roll, cut_size(piece, system), lots.weight(kg, system)]
            for piece, kg in load.pieces
        ],
        "items": [[one.title, one.net, one.brought, _weighs(one, system)] for one in load.items],
        "total": _known(load.known_kg, system),
    }


def _known(kg: float, system: System) -> str:
    """A weight, "" where none is known."""
    if kg:
        return lots.weight(kg, system)
    return ""


def _weighs(one: Taken, system: System) -> str:
    if one.weight_kg is None:
        return ""
    return lots.weight(one.weight_kg, system)
