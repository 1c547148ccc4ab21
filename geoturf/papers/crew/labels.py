"""A label a piece, in the order in which pieces are cut: on letter ten a sheet of 2 in x 4 in, on
A4 ten a sheet of 57 mm x 99 mm (common sizes, from memory)."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from geoturf.model import Result
from geoturf.papers.crew import cut_list, lots
from geoturf.papers.crew.cut_list import Cut
from geoturf.papers.crew.laying import Piece, numbers
from geoturf.papers.crew.wording import cut_size
from geoturf.papers.letters import wide_mm as wide_of
from geoturf.records import records
from geoturf.units import INCH_M, SYSTEMS

_MM = 1e3  # in a metre
_INCH_MM = INCH_M * _MM


_SITE_PT, _AREA_PT, _LEAST_PT = 15.0, 12.0, 6.0
_INSET_MM = 5.0  # of a label's texts
_NUMBER_MM = 25.0  # beside a site: which piece this is of how many


class Sheet(NamedTuple):
    """Two columns of five labels, millimetres: a label's size, the gap between columns; the rest of
    the page is margin, as much on each side."""

    width: float
    height: float
    gap: float


SHEETS = {
    "letter": Sheet(4 * _INCH_MM, 2 * _INCH_MM, 3 / 16 * _INCH_MM),
    "a4": Sheet(99.0, 57.0, 2.0),
}


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_labels``."""
    page = result.bid.page
    return {
        "page": page,
        "title": f"{result.bid.name}: labels",
        "sheet": SHEETS[page]._asdict(),
        "labels": _labels(result),
    }


def _labels(result: Result) -> list[dict[str, Any]]:
    system = SYSTEMS[result.bid.units]
    land = result.ground.areas
    plan = result.plan
    number = numbers(result)
    size = records(plan.pieces, Piece)
    count = np.bincount(plan.pieces["area_index"].astype(int), minlength=len(land))
    cut = {piece.piece: cut_size(piece, system) for piece in size}
    sites = land["site"].astype(str).tolist()
    areas = land["area"].astype(str).tolist()
    phases = land["phase"].astype(str).tolist()
    products = land["product"].tolist()
    by_roll = cut_list.by_roll(plan.pieces, Cut)
    wide_mm = SHEETS[result.bid.page].width - 2 * _INSET_MM
    return [
        {
            "piece": one.piece,
            "site": sites[one.area_index],
            "site_pt": _size_pt(sites[one.area_index], _SITE_PT, wide_mm - _NUMBER_MM),
            "area": areas[one.area_index],
            "area_pt": _size_pt(areas[one.area_index], _AREA_PT, wide_mm),
            "phase": phases[one.area_index],
            "number": f"{number[one.piece]} of {count[one.area_index]}",
            "roll": roll,
            "size": cut[one.piece],
            "product": products[one.area_index],
            "weight": lots.weight(
                lots.turf_kg(result, products[one.area_index], one.length_m * one.width_m), system
            ),
        }
        for roll in plan.rolls["roll"]
        for one in cut_list.in_turn(by_roll[roll])
    ]


def _size_pt(name: str, most_pt: float, room_mm: float) -> float:
    """The size in which a name takes no more than its room, so that none of it is cut off."""
    fits = most_pt * room_mm / max(wide_of(name, most_pt, bold=True), room_mm)
    return max(math.floor(fits * 10) / 10, _LEAST_PT)
