"""What a crew cuts by: roll after roll in the order of the plan, each drawn with its cuts."""

from __future__ import annotations

from collections import defaultdict
from typing import Any, NamedTuple

import pandas as pd

from geoturf.model import Result
from geoturf.papers.crew import lots
from geoturf.papers.crew.drawing import spread
from geoturf.papers.crew.laying import numbers, slanted
from geoturf.papers.crew.lettering import Layer
from geoturf.records import records
from geoturf.rules import Product
from geoturf.units import SYSTEMS, System, powers

WIDE_MM = 178.0  # of a drawn roll, at most
_LEAST_MM = 2.6  # of a piece that its number is written in, and between running lengths
_OFF_MM = 2.6  # from a roll to its running lengths
_SAME_M = 5e-3


class Cut(NamedTuple):
    """A piece on its roll, metres from the roll's start and from its left usable edge."""

    piece: str
    area_index: int
    along_m: float
    across_m: float
    length_m: float
    width_m: float
    start_slant_m: float
    end_slant_m: float

    @property
    def corners(self) -> list[tuple[float, float]]:
        """Along and across, from the left end of its start line round to the right one."""
        left = self.across_m
        right = self.across_m + self.width_m
        end = self.along_m + self.length_m
        return [
            (self.along_m, left),
            (end, left),
            (end + self.end_slant_m, right),
            (self.along_m + self.start_slant_m, right),
        ]


class Roll(NamedTuple):
    roll: str
    phase: str
    product: str
    width_m: float
    length_m: float
    used_m: float
    source: str


class Kept(NamedTuple):
    """A left-over worth keeping."""

    width_m: float
    length_m: float
    along_m: float
    across_m: float


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_cut_list``."""
    system = SYSTEMS[result.bid.units]
    plan = result.plan
    mm = 1.0
    if len(plan.rolls):
        mm = WIDE_MM / float(plan.rolls["length_m"].max())
    number = numbers(result)
    cuts = by_roll(plan.pieces, Cut)
    kept = by_roll(plan.stock, Kept)
    return {
        "page": result.bid.page,
        "title": f"{result.bid.name}: cut list",
        "running": f"{result.bid.name}: cut list",
        "name": result.bid.name,
        "metric": system.name == "metric",
        "slanted": slanted(result),
        "trim": system.tape(result.bid.layout.selvage_trim_m),
        "rolls": [
            _told(result, roll, cuts[roll.roll], kept[roll.roll], mm, number, system)
            for roll in records(plan.rolls, Roll)
        ],
    }


def by_roll(table: pd.DataFrame, kind: type) -> dict[str, list[Any]]:
    out: dict[str, list[Any]] = defaultdict(list)
    for roll, row in zip(table["roll"], records(table, kind), strict=True):
        out[roll].append(row)
    return out


def _told(
    result: Result,
    roll: Roll,
    cuts: list[Cut],
    kept: list[Kept],
    mm: float,
    number: dict[str, int],
    system: System,
) -> dict[str, Any]:
    product = result.bid.products[roll.product]
    cuts = in_turn(cuts)
    trim = 0.0 if roll.source == "stock" else result.bid.layout.selvage_trim_m
    return {
        "roll": roll.roll,
        "words": _words(roll, product, system),
        "drawing": _drawing(roll, cuts, kept, trim, mm, system),
        "rows": [_row(result, k, cut, number[cut.piece], system) for k, cut in enumerate(cuts, 1)],
        "keep": [
            f"{system.tape(one.length_m)} x {system.tape(one.width_m)} at "
            f"{system.tape(one.along_m)}"
            for one in kept
        ],
    }


def _words(roll: Roll, product: Product, system: System) -> str:
    size = f"{system.tape(roll.width_m)} x {system.tape(roll.length_m)}"
    kg = roll.width_m * roll.length_m * product.weight_kg_per_m2()
    what = "left-over at hand, " if roll.source == "stock" else ""
    about = f"{what}{size}, about {lots.weight(kg, system)}, {system.tape(roll.used_m)} used"
    return f"{roll.product}, {powers(product.title)}; {about}; phase {roll.phase}"


def in_turn(cuts: list[Cut]) -> list[Cut]:
    """Section after section of the roll; within one lane after lane, along each."""
    out: list[Cut] = []
    section: list[Cut] = []
    end = 0.0
    for cut in sorted(cuts, key=lambda cut: (cut.along_m, cut.across_m)):
        if section and cut.along_m >= end - _SAME_M:
            out += sorted(section, key=lambda one: (one.across_m, one.along_m))
            section = []
        section.append(cut)
        end = max(end, cut.along_m + cut.length_m)
    return out + sorted(section, key=lambda one: (one.across_m, one.along_m))


def _row(result: Result, k: int, cut: Cut, number: int, system: System) -> list[str]:
    area = result.ground.areas.iloc[cut.area_index]
    right = cut.length_m + cut.end_slant_m - cut.start_slant_m
    lengths = dict.fromkeys(system.tape(one, up=True) for one in (cut.length_m, right))
    return [
        f"{k}",
        cut.piece,
        system.tape(cut.along_m),
        system.tape(cut.along_m + cut.length_m),
        system.tape(cut.across_m),
        " / ".join(lengths),
        system.tape(cut.width_m, up=True),
        str(area["site"]),
        f"{area['area']}, no. {number}",
    ]


def _drawing(
    roll: Roll, cuts: list[Cut], kept: list[Kept], trim: float, mm: float, system: System
) -> dict[str, Any]:
    """Millimetres of the page, from the left corner of the roll's start."""

    def page(along: float, across: float) -> list[float]:
        return [round(along * mm, 2), round((across + trim) * mm, 2)]

    lines = [
        (one.along_m, one.across_m, one.along_m + one.length_m, one.across_m + one.width_m)
        for one in kept
    ]
    drawn = {
        "width": round(roll.length_m * mm, 2),
        "height": round(roll.width_m * mm, 2),
        "trim": round(trim * mm, 2),
        "pieces": [
            {
                "corners": [page(*corner) for corner in cut.corners],
                "number": f"{k}",
                "at": page(
                    cut.along_m + (cut.length_m + (cut.start_slant_m + cut.end_slant_m) / 2) / 2,
                    cut.across_m + cut.width_m / 2,
                ),
                "fits": min(cut.length_m, cut.width_m) * mm >= _LEAST_MM,
            }
            for k, cut in enumerate(cuts, 1)
        ],
        "kept": [[*page(u0, v0), *page(u1, v1)] for u0, v0, u1, v1 in lines],
        "left": _running([(c.along_m, c.along_m + c.length_m) for c in cuts], roll, mm, system),
        "right": _running(
            [
                (c.along_m + c.start_slant_m, c.along_m + c.length_m + c.end_slant_m)
                for c in cuts
                if c.start_slant_m or c.end_slant_m
            ],
            roll,
            mm,
            system,
        ),
    }
    return drawn | {"words": _words_of(drawn).told()}


def _words_of(drawn: dict[str, Any]) -> Layer:
    """Numbers of pieces that have room for them, and running lengths, which run up the page."""
    layer = Layer()
    for piece in drawn["pieces"]:
        if piece["fits"]:
            layer.write("number", piece["number"], *piece["at"])
    for one in drawn["left"]:
        end = -drawn["height"] - _OFF_MM
        layer.write("size", one["text"], end, one["place"], 1.0, turned=True)
    for one in drawn["right"]:
        layer.write("size", one["text"], _OFF_MM, one["place"], 0.0, turned=True)
    return layer


def _running(
    spans: list[tuple[float, float]], roll: Roll, mm: float, system: System
) -> list[dict[str, Any]]:
    """Where the roll is cut across, from its start: place on the page, place of its text, text."""
    found = {system.tape(at): at for span in spans for at in span}
    at = sorted(found.values())
    places = spread(
        [one * mm for one in at], max(roll.length_m * mm, _LEAST_MM * len(at)), _LEAST_MM
    )
    return [
        {
            "at": round(one * mm, 2),
            "place": round(place, 2),
            "text": system.tape(one),
        }
        for one, place in zip(at, places, strict=True)
    ]
