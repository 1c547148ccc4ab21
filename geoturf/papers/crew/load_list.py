"""What goes on the truck, lot by lot; the base stone, which comes by its own, beside it."""

from __future__ import annotations

from typing import Any

from geoturf.model import Result
from geoturf.papers.crew import laying, lots
from geoturf.papers.crew.drawing import cut_size
from geoturf.papers.crew.laying import Piece
from geoturf.papers.crew.lots import Lot, Taken
from geoturf.records import records
from geoturf.rules.items import ITEMS
from geoturf.units import SYSTEMS, System

_OWN_TRUCK = ("aggregate",)  # what comes by another truck than the crew's


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_load_list``."""
    system, plan = SYSTEMS[result.bid.units], result.plan
    taken = lots.taken(result)
    turf: dict[int, list[Piece]] = {}
    for area, piece in zip(plan.pieces["area_index"], records(plan.pieces, Piece), strict=True):
        turf.setdefault(int(area), []).append(piece)
    return {
        "page": result.bid.page,
        "title": f"{result.bid.name}: load list",
        "running": f"{result.bid.name}: load list",
        "name": result.bid.name,
        "slanted": laying.slanted(result),
        "lots": [
            _lot(result, lot, taken.get((lot.phase, lot.site), []), turf, system)
            for lot in lots.of(result)
        ],
    }


def _lot(
    result: Result, lot: Lot, taken: list[Taken], turf: dict[int, list[Piece]], system: System
) -> dict[str, Any]:
    products = result.ground.areas["product"]
    pieces = [
        (piece, lots.turf_kg(result, products.iloc[area], piece.length_m * piece.width_m))
        for area in lot.areas
        for piece in turf.get(area, [])
    ]
    turf_kg = sum(kg for _, kg in pieces)
    brought = [one for one in taken if ITEMS[one.key].kind != "service"]
    known = turf_kg + sum(one.weight_kg or 0.0 for one in brought if one.key not in _OWN_TRUCK)
    return {
        "site": lot.site,
        "phase": lot.phase,
        "turf": f"{len(pieces)} pieces, {lots.weight(turf_kg, system)}",
        "pieces": [
            [piece.piece, piece.roll, cut_size(piece, system), lots.weight(kg, system)]
            for piece, kg in pieces
        ],
        "items": [[one.title, one.net, one.brought, _told(one, system)] for one in brought],
        "total": lots.weight(known, system),
    }


def _told(one: Taken, system: System) -> str:
    return "" if one.weight_kg is None else lots.weight(one.weight_kg, system)
