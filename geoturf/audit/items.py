"""Items of the takeoff by plain formulas, from a phase's areas and the rates that run.json tells:
an item is known by its title in materials.csv."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from geoturf.audit.factors import FOOT, OUNCE, POUND, TABLED, YARD
from geoturf.audit.told import Floats

ROUNDED = 3e-5  # of a sum of figures that are written to a hundredth
_SLOPED = 1.06  # of a length along the slope over one on the map, up to 33 %


@dataclass(frozen=True)
class Span:
    """The least and the most that something can be, by what the tables tell."""

    low: float
    high: float

    def times(self, by: float) -> Span:
        return Span(self.low * by, self.high * by)

    def plus(self, other: Span) -> Span:
        return Span(self.low + other.low, self.high + other.high)


def exactly(value: float) -> Span:
    return Span(value, value)


@dataclass(frozen=True)
class Phase:
    """Areas of a phase, (n,) each, SI; settings in force."""

    rules: dict[str, Any]
    edges: dict[str, Any]
    site: list[str]
    product: list[dict[str, Any]]
    use: list[str]
    column: dict[str, Floats]
    caps: Span | None  # heads to cap; None where the input is not at hand
    own: dict[str, Floats] | None  # depths that areas state, NaN where none; None likewise

    def sum(self, name: str, weight: Floats | float = 1.0) -> float:
        return float((self.column[name] * weight).sum())

    def of(self, name: str) -> Floats:
        """A flag of each area's product."""
        return np.array([float(bool(one[name])) for one in self.product])

    @property
    def nailed(self) -> Floats:
        return np.array([float(one["fixing"] == "nail") for one in self.product])

    def depth(self, name: str) -> Floats:
        """Each area's own, else its turf's, else the bid's."""
        of_turf = (one[name] for one in self.product)
        depth = np.array([self.rules[name] if one is None else one for one in of_turf], float)
        if self.own is None:
            return depth
        return np.where(np.isnan(self.own[name]), depth, self.own[name])

    def deep(self, value: float) -> Span:
        """What depends on depths, which areas may state each for itself."""
        if self.own is None:
            return Span(0.0, math.inf)
        return exactly(value)

    @property
    def sites(self) -> int:
        return len(set(self.site))


@cache
def published(table: str) -> dict[tuple[str, str], float]:
    """A published table of the program's data, in SI."""
    text = (resources.files("geoturf") / "data" / f"{table}.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return {
        (row["name"], row["quantity"]): float(row["value"]) * TABLED[row["unit"]]
        for row in rows
        if row["unit"] in TABLED
    }


def _dug(p: Phase) -> float:
    return p.sum("ground_area", p.nailed * p.depth("dig_depth"))


def _swell(p: Phase) -> float:
    own = p.rules["swell"]
    if own is None:
        return published("swell")[p.rules["soil"], "bank to loose"]
    return 1 + float(own)


def _loads(p: Phase) -> Span:
    """Whole ones a site."""
    loose = p.column["ground_area"] * p.nailed * p.depth("dig_depth") * _swell(p)
    site = np.unique(p.site, return_inverse=True)[1]
    trucks = np.bincount(site, loose) / p.rules["truck"]
    if p.own is None:
        return Span(0.0, math.inf)
    return Span(
        float(np.ceil(trucks * (1 - ROUNDED) - 1e-6).sum()),
        float(np.ceil(trucks * (1 + ROUNDED) + 1e-9).sum()),
    )


def _base_m3(p: Phase) -> float:
    return p.sum("surface_area", p.nailed * p.depth("base_depth"))


def _lifted(p: Phase) -> float:
    lifts = np.ceil(p.depth("base_depth") / p.rules["lift"] - 1e-6)
    return p.sum("surface_area", p.nailed * lifts)


def _stone(p: Phase) -> float:
    dense = p.rules["compacted_density"]
    if dense is None:
        dense = published("aggregate")[p.rules["aggregate"], "compacted"]
    return float(_base_m3(p) * dense * (1 + p.rules["moisture"]))


def _fabric(p: Phase, short: str) -> Span:
    """No less than the ground with a lap between strips; no more than strips as long as two sides
    of any ground ... which half as much again, and a strip an area, hold."""
    on = p.rules["fabric"] if short == "fabric" else p.rules["fabric_below_base"]
    if not on:
        return exactly(0.0)
    width = p.rules[f"{short}_roll_width"]
    base = p.sum("surface_area", p.nailed)
    around = p.sum("perimeter", p.nailed)
    return Span(base, 1.6 * base / (1 - min(0.5, _lap(p, short) / width)) + around * width)


def _lap(p: Phase, short: str) -> float:
    own = p.rules["fabric_overlap"] if short == "fabric" else p.rules["below_overlap"]
    return 0.9 if own is None else float(own)  # the widest of the published ones is 3.3 ft


def _pets(p: Phase) -> float:
    asked = [use.casefold() in ("pet", "pets") for use in p.use]
    return p.sum("surface_area", np.maximum(p.of("pets"), np.array(asked, float)))


#: pounds of infill a square foot, least and most, by ounces of pile a square yard (common practice)
_INFILL = ((60.0, 1.0, 2.0), (80.0, 0.5, 1.0))

#: what leaves a turf's infill to others; any other kind is the item "infill"
_INFILL_KEY = {"granules": "granules"}


def _infill_rate(p: Phase, turf: dict[str, Any]) -> float:
    """kg/m2: what the turf or the bid states, else the middle of what its pile takes."""
    if turf["infill"] == "none":
        return 0.0
    for stated in (turf["infill_rate"], p.rules["infill_rate"]):
        if stated is not None:
            return float(stated)
    (light, l0, h0), (heavy, l1, h1) = _INFILL
    pile = light if turf["putting"] else turf["pile_weight"] / (OUNCE / YARD**2)
    part = min(1.0, max(0.0, (pile - light) / (heavy - light)))
    middle = (l0 + h0) / 2 + part * ((l1 + h1) / 2 - (l0 + h0) / 2)
    return float(middle * POUND / FOOT**2)


def _filled(p: Phase, granules: bool) -> float:
    rates = [
        _infill_rate(p, one) * ((one["infill"] == "granules") == granules) for one in p.product
    ]
    return p.sum("surface_area", np.array(rates))


def _spread(p: Phase) -> float:
    """Ground that is filled here: not with what is left to others."""
    left = p.rules["leave_out"]
    here = [
        float(_infill_rate(p, one) > 0 and _INFILL_KEY.get(one["infill"], "infill") not in left)
        for one in p.product
    ]
    return p.sum("surface_area", np.array(here))


def _seam(p: Phase) -> Span:
    """Seams in areas, and half of each border that two share."""
    own = p.sum("seam")
    shared = p.sum("edge_shared") / 2
    return Span(own + shared, own + shared * _SLOPED)


def _taped(p: Phase) -> Span:
    if p.edges["seam_method"] != "nails":
        return _seam(p)
    glued = 1 - p.nailed
    own = p.sum("seam", glued)
    shared = p.sum("edge_shared", glued) / 2
    return Span(own + shared, own + shared * _SLOPED)


def _seam_nails(p: Phase) -> Span:
    """As told, where halves of borders that two areas share are rounded."""
    told = p.sum("seam_fasteners")
    halves = 0.5 * float((p.column["edge_shared"] > 0).sum())
    return Span(max(0.0, told - halves), told + halves)


def _edged(p: Phase, edging: str) -> Span:
    """Edges that get a board, a steel strip or a nailer. Those along fences and planters are open
    ones, how much of them the tables do not tell."""
    found = exactly(0.0)
    for kind in p.edges["edging_on"]:
        if p.edges.get("edging", {}).get(kind, "board") != edging:
            continue
        told = "open" if kind in _OPEN else kind
        length = p.sum(f"edge_{told}") / (2 if kind == "shared" else 1)
        partly = kind in (*_OPEN, "open")
        found = found.plus(Span(0.0 if partly else length, length * _SLOPED))
    return found


_OPEN = ("fence", "planter")


def _stakes(p: Phase) -> Span:
    edged = _edged(p, "board")
    step = p.rules["stake_spacing"]
    if not edged.high:
        return exactly(0.0)
    return Span(edged.low / step, edged.high / step + 2 * len(p.site))


def _fabric_nails(p: Phase) -> Span:
    """Rounded up an area."""
    if not p.rules["fabric"]:
        return exactly(0.0)
    each = p.column["surface_area"] * p.nailed / p.rules["fabric_spacing"] ** 2
    low = each * (1 - ROUNDED) - 1e-6
    high = each * (1 + ROUNDED) + 1e-6
    return Span(float(np.ceil(low).sum()), float(np.ceil(high).sum()))


def _drained(p: Phase) -> float:
    spacing: float = p.rules["drain_spacing"]
    if not spacing:
        return 0.0
    return p.sum("surface_area", p.nailed) / spacing


def _rate(p: Phase, name: str) -> float:
    return float(p.rules["rates"][name])


Net = dict[str, Span]  # of the items already reckoned, by title


_Formula = Callable[[Phase, Net], Span | None]


def _hours(title: str, rate: str) -> _Formula:
    """What an item takes, by the rate of the task."""

    def formula(p: Phase, net: Net) -> Span | None:
        if title in net:
            return net[title].times(1 / _rate(p, rate))
        return exactly(0.0)

    return formula


def _machine(title: str) -> _Formula:
    """As long as its task."""
    return lambda p, net: net.get(title, exactly(0.0))


#: title -> net quantity in SI, kind of cost and its name in [price.costs], in the order of the work
ITEMS: dict[str, tuple[str, str, _Formula]] = {
    "Excavation, in place": ("service", "dig", lambda p, net: p.deep(_dug(p))),
    "Haul away": ("service", "haul", lambda p, net: _loads(p)),
    "Disposal of spoil, loose": ("service", "disposal", lambda p, net: p.deep(_dug(p) * _swell(p))),
    "Sod killed": (
        "service", "sod_kill",
        lambda p, net: Span(0.0, p.sum("ground_area", p.nailed) * p.rules["sod_kill"]),
    ),
    "Drain line, perforated, wrapped": ("material", "drain", lambda p, net: exactly(_drained(p))),
    "Drain outlets": (
        "service", "outlets",
        lambda p, net: Span(0.0, p.rules["outlets_per_site"] * p.sites * (_drained(p) > 0)),
    ),
    "Weed fabric on the base": ("material", "fabric", lambda p, net: _fabric(p, "fabric")),
    "Separation fabric under the base": ("material", "geotextile", lambda p, net: _fabric(p, "below")),
    "Aggregate base, compacted": ("material", "aggregate", lambda p, net: p.deep(_stone(p))),
    "Odour-control granules": (
        "material", "odour", lambda p, net: exactly(_pets(p) * p.rules["odour_rate"])
    ),
    "Pad under the turf": ("material", "pad", lambda p, net: exactly(p.sum("surface_area", p.of("pad")))),
    "Seam tape": ("material", "tape", lambda p, net: _taped(p)),
    "Seam adhesive": ("material", "adhesive", lambda p, net: _taped(p)),
    "Turf adhesive, full spread": (
        "material", "glue", lambda p, net: exactly(p.sum("surface_area", 1 - p.nailed))
    ),
    "Turf nails": (
        "material", "nails",
        lambda p, net: exactly(p.sum("perimeter_fasteners") + p.sum("field_fasteners")),
    ),
    "Seam nails": ("material", "seam_nails", lambda p, net: _seam_nails(p)),
    "Nails or staples of the fabric": ("material", "fabric_nails", lambda p, net: _fabric_nails(p)),
    "Edging board": ("material", "edging", lambda p, net: _edged(p, "board")),
    "Edging strip, steel, stakes in": (
        "material", "edging_steel", lambda p, net: _edged(p, "steel")),
    "Nailer board along fences": (
        "material", "edging_nailer", lambda p, net: _edged(p, "nailer")),
    "Edging stakes": ("material", "stakes", lambda p, net: _stakes(p)),
    "Infill": ("material", "infill", lambda p, net: exactly(_filled(p, False))),
    "Odour-control granules as infill": (
        "material", "odour", lambda p, net: exactly(_filled(p, True))
    ),
    "Irrigation heads capped": ("material", "caps", lambda p, net: p.caps),
    "Irrigation lines rerouted or kept for rinsing": (
        "service", "reroutes", lambda p, net: exactly(p.rules["reroutes_per_site"] * p.sites)
    ),
    "Set up and clear away": ("labour", "labour", lambda p, net: exactly(_rate(p, "setup") * p.sites)),
    "Dig and load": ("labour", "labour", _hours("Excavation, in place", "dig")),
    "Place and compact the base": (
        "labour", "labour", lambda p, net: p.deep(_lifted(p) / _rate(p, "base"))
    ),
    "Trench and lay drain lines": ("labour", "labour", _hours("Drain line, perforated, wrapped", "drain")),
    "Spread granules": (
        "labour", "labour", lambda p, net: exactly(_pets(p) / _rate(p, "odour"))
    ),
    "Lay pads": ("labour", "labour", _hours("Pad under the turf", "pad")),
    "Lay fabric": (
        "labour", "labour",
        lambda p, net: _both(net, "Weed fabric on the base", "Separation fabric under the base").times(
            1 / _rate(p, "fabric")
        ),
    ),
    "Lay, trim and fit turf": (
        "labour", "labour", lambda p, net: exactly(p.sum("surface_area") / _rate(p, "turf"))
    ),
    "Join seams": (
        "labour", "labour",
        lambda p, net: _seam(p).times(1 / _rate(p, "seam")).plus(
            exactly(p.sum("cross_seams") * _rate(p, "cross_seam"))
        ),
    ),
    "Drive nails": (
        "labour", "labour",
        lambda p, net: _both(net, "Turf nails", "Seam nails").times(1 / _rate(p, "nails")),
    ),
    "Spread adhesive": ("labour", "labour", _hours("Turf adhesive, full spread", "glue")),
    "Set edging": (
        "labour", "labour",
        lambda p, net: _both(
            net, "Edging board", "Edging strip, steel, stakes in", "Nailer board along fences"
        ).times(1 / _rate(p, "edging")),
    ),
    "Spread infill and broom": (
        "labour", "labour", lambda p, net: exactly(_spread(p) / _rate(p, "infill"))
    ),
    "Cap and reroute irrigation": (
        "labour", "labour",
        lambda p, net: _both(
            net, "Irrigation heads capped", "Irrigation lines rerouted or kept for rinsing"
        ).times(1 / _rate(p, "caps")) if p.caps else None,
    ),
    "Excavator or skid steer": ("plant", "excavator", _machine("Dig and load")),
    "Plate compactor": ("plant", "compactor", _machine("Place and compact the base")),
    "Loader": (
        "plant", "loader",
        lambda p, net: net["Place and compact the base"].times(float(p.rules["loader"])),
    ),
    "Power broom": ("plant", "broom", _machine("Spread infill and broom")),
    "Infill spreader": ("plant", "spreader", _machine("Spread infill and broom")),
}  # fmt: skip


def _both(net: Net, *titles: str) -> Span:
    found = exactly(0.0)
    for title in titles:
        found = found.plus(net.get(title, exactly(0.0)))
    return found


#: titles that leave with an item which a bid leaves to others, by the item's name there
LEFT = {
    "dig": (
        "Excavation, in place",
        "Haul away",
        "Disposal of spoil, loose",
        "Dig and load",
        "Excavator or skid steer",
    ),
    "haul": ("Haul away",),
    "disposal": ("Disposal of spoil, loose",),
    "fabric": ("Weed fabric on the base", "Nails or staples of the fabric"),
    "geotextile": ("Separation fabric under the base",),
    "aggregate": (
        "Aggregate base, compacted",
        "Place and compact the base",
        "Plate compactor",
        "Loader",
    ),
    "odour": ("Odour-control granules", "Spread granules"),
    "infill": ("Infill",),
    "granules": ("Odour-control granules as infill",),
    "edging": ("Edging board", "Edging stakes", "Set edging"),
    "edging_steel": ("Edging strip, steel, stakes in",),
    "edging_nailer": ("Nailer board along fences",),
    "caps": ("Irrigation heads capped",),
    "tape": ("Seam tape",),
    "adhesive": ("Seam adhesive",),
    "nails": ("Turf nails",),
    "pad": ("Pad under the turf", "Lay pads"),
    "drain": ("Drain line, perforated, wrapped", "Drain outlets", "Trench and lay drain lines"),
}
