"""The takeoff as the report has it against plain formulas (`items`), phase by phase, from the rows
of areas.csv."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from geoturf.audit import books
from geoturf.audit.factors import UNITS
from geoturf.audit.folder import Folder
from geoturf.audit.items import ITEMS, LEFT, ROUNDED, Net, Phase, Span, exactly, published
from geoturf.audit.money import strangers
from geoturf.audit.told import Floats, Told, between, first_wrong


def promises(
    folder: Folder, caps: dict[str, Span] | None, own: dict[str, Floats] | None
) -> Iterator[Told]:
    """``caps``: heads to cap by phase; ``own``: depths that areas state; both where the input
    tells."""
    rules = folder.settings["materials"]
    yield from _fasteners(folder)
    names = []
    told = []
    low = []
    high = []
    missing = []
    left_to_others = set(rules["leave_out"])
    new = strangers(folder)
    rows = _rows(folder)
    for phase, land in _phases(folder, caps, own).items():
        net: Net = {}
        for title, (_, _, formula) in ITEMS.items():
            span = formula(land, net)
            row = rows.get((f"phase {phase}", title))
            if span is None:
                continue
            net[title] = span
            if row is None:
                if span.low > 1e-6 and not left_to_others:
                    missing.append(
                        f"phase {phase} has no {title}, of which it takes {span.low:,.2f}"
                    )
                elif span.low > 1e-6 and not _may_leave(title, left_to_others):
                    missing.append(f"phase {phase} has no {title}")
                net[title] = exactly(0.0) if row is None else span
                continue
            value, step = row
            names.append(f"phase {phase}, {title}")
            told.append(value)
            room = step * (1 + len(land.site))  # each area's figures are rounded
            low.append(span.low * (1 - ROUNDED) - room)
            more_work = new and ITEMS[title][0] in ("labour", "plant")  # that items take
            high.append(math.inf if more_work else span.high * (1 + ROUNDED) + room)
    yield first_wrong(
        "nothing left out", "items of the takeoff", missing, len(names) + len(missing)
    )
    yield between("takeoff", "net quantities", names, told, low, high, "(SI)")
    yield from _orders(folder)


def _may_leave(title: str, left: set[str]) -> bool:
    """Whether an item may be missing where others are left out: itself, or a task or machine that
    may have nothing left to do."""
    gone = {title for name in left for title in LEFT.get(name, ())}
    return title in gone or ITEMS[title][0] in ("labour", "plant") or not left <= set(LEFT)


def _rows(folder: Folder) -> dict[tuple[str, str], tuple[float, float]]:
    """Net quantity, and what its last decimal is, in SI, by scope and item."""
    table = folder.table("materials")
    net = table.numbers("net_quantity")
    units = table.text("unit")
    keys = zip(table.text("scope"), table.text("item"), net, units, strict=True)
    return {
        (scope, item): (value * UNITS.get(unit, 1.0), 0.0101 * UNITS.get(unit, 1.0))
        for scope, item, value, unit in keys
    }


_MEASURES = (
    "ground_area",
    "surface_area",
    "perimeter",
    "seam",
    "edge_paving",
    "edge_building",
    "edge_shared",
    "edge_open",
)
_COUNTS = ("perimeter_fasteners", "field_fasteners", "seam_fasteners", "cross_seams")


def _phases(
    folder: Folder, caps: dict[str, Span] | None, own: dict[str, Floats] | None
) -> dict[str, Phase]:
    areas = folder.table("areas")
    settings = folder.settings
    phase = np.array(areas.text("phase"), object)
    site = areas.text("site")
    product = areas.text("product")
    use = areas.text("use")
    column = {name: areas.si(name) for name in _MEASURES}
    column |= {name: areas.numbers(name) for name in _COUNTS}
    first = next(iter(settings["products"].values()))
    under = books.of_phases(folder)
    made = {}
    for name in dict.fromkeys(phase.tolist()):
        rows = np.flatnonzero((phase == name) & folder.laid)
        made[name] = Phase(
            books.materials(settings, under[name]),
            settings["edges"],
            [site[k] for k in rows],
            [settings["products"].get(product[k], first) for k in rows],
            [use[k] for k in rows],
            {key: values[rows] for key, values in column.items()},
            None if caps is None else caps.get(name),
            None if own is None else {key: values[rows] for key, values in own.items()},
        )
    return made


def _fasteners(folder: Folder) -> Iterator[Told]:
    """Nails in the field: surface over the square of their spacing; none where turf is glued. Along
    the perimeter: no less than its length over their spacing, no more than one more a run."""
    areas = folder.table("areas")
    rules = folder.settings["edges"]
    products = folder.settings["products"]
    turf = [products.get(name) for name in areas.text("product")]
    nailed = np.array([float(one is None or one["fixing"] == "nail") for one in turf])
    surface = areas.si("surface_area")
    slope = areas.numbers("slope_pct") / 100
    own = areas.si("ground_area") * np.sqrt(1 + slope**2)
    room = own * (slope * 6e-5 + 1e-6) + 2 * areas.step("surface_area")
    yield between(
        "surface", "areas along the slope", folder.areas, surface, own - room, own + room, "m2"
    )
    nailed = nailed * folder.laid
    each = surface / rules["field_spacing"] ** 2 * nailed
    low = np.ceil(each - 1e-3 - each * 1e-5)
    high = np.ceil(each + 1e-3 + each * 1e-5)
    yield between(
        "field nails",
        "nails in the field",
        folder.areas,
        areas.numbers("field_fasteners"),
        low,
        high,
    )
    border = sum(areas.si(f"edge_{kind}") for kind in ("paving", "building", "open"))
    fastened = np.nan_to_num(border) * nailed
    around = fastened / rules["perimeter_spacing"]
    most = around * np.sqrt(1 + slope**2) * (1 + 1e-4) + nailed * _runs(folder) + 3
    yield between(
        "perimeter nails",
        "nails along borders",
        folder.areas,
        areas.numbers("perimeter_fasteners"),
        around * (1 - 1e-4) - 2,
        most,
    )


def _runs(folder: Folder) -> Floats:
    """Twice the stretches of border of each area, as layout.gpkg has them: each may round up, and
    has two ends."""
    keys, _ = folder.layout.shapes("edges")
    areas = folder.table("areas")
    place = {
        key: k for k, key in enumerate(zip(areas.text("site"), areas.text("area"), strict=True))
    }
    own = np.array([place.get(key, 0) for key in keys], np.intp)
    return np.asarray(2.0 * np.bincount(own, minlength=len(areas)), float)


def _orders(folder: Folder) -> Iterator[Told]:
    """Net and its allowance, rounded up to whole purchase units; allowances and sizes as the bid
    has them; the bid's rows are the sums of the phases'."""
    table = folder.table("materials")
    rules = folder.settings["materials"]
    scope = table.text("scope")
    item = table.text("item")
    unit = table.text("unit")
    bought = table.text("order_unit")
    net, order, size = (
        table.numbers(name) for name in ("net_quantity", "order_quantity", "order_size")
    )
    more = table.numbers("allowance_pct") / 100
    names = []
    low = []
    high = []
    told = []
    wrong = []
    sums: dict[tuple[str, str, float], list[float]] = {}
    for k, title in enumerate(item):
        key = title, bought[k], size[k]
        sums.setdefault(key, [0.0, 0.0])[int(scope[k] != "bid")] += order[k]
        if title not in ITEMS or scope[k] == "bid":
            continue
        allowance, own = _bought_by(rules, title)
        if allowance is not None and abs(more[k] - allowance) > 6e-4:
            wrong.append(
                f"{scope[k]}, {title}: allowance {100 * more[k]:g} %, the bid says "
                f"{100 * allowance:g} %"
            )
        if own is not None and abs(size[k] * UNITS.get(unit[k], 1.0) - own) > 1e-3 * own:
            wrong.append(
                f"{scope[k]}, {title}: a purchase unit of {size[k]:g} {unit[k]} is not the bid's"
            )
        if rules["pool"] == "site":
            continue
        exact = net[k] * (1 + (more[k] if allowance is None else allowance)) / size[k]
        room = (
            0.0051 / size[k]
            + exact * (6e-4 / size[k] if own is None else 1e-3 / max(size[k], 1.0))
            + 1e-6
        )
        names.append(f"{scope[k]}, {title}")
        told.append(order[k])
        low.append(math.ceil(exact - room))
        high.append(math.ceil(exact + room))
    yield first_wrong("allowances", "allowances and purchase units", wrong, len(names))
    yield between("orders", "orders rounded up", names, told, low, high)
    totals = [(f"{key[0]}", whole, parts) for key, (whole, parts) in sums.items()]
    yield between(
        "orders in all",
        "orders of the bid",
        [t[0] for t in totals],
        [t[1] for t in totals],
        [t[2] for t in totals],
        [t[2] for t in totals],
    )


def _bought_by(rules: dict[str, Any], title: str) -> tuple[float | None, float | None]:
    """Allowance and SI size of a purchase unit; None where this does not know it."""
    box = {
        name: rules["nail_box"] * published("nails").get((rules[name], "count"), float("nan"))
        for name in ("turf_nail", "seam_nail", "fabric_nail")
    }
    known: dict[str, tuple[float, float]] = {
        "Weed fabric on the base": (
            rules["fabric_allowance"],
            rules["fabric_roll_width"] * rules["fabric_roll_length"],
        ),
        "Aggregate base, compacted": (rules["aggregate_allowance"], rules["aggregate_step"]),
        "Odour-control granules": (rules["odour_allowance"], rules["odour_bag"]),
        "Seam tape": (rules["tape_allowance"], rules["tape_roll"]),
        "Seam adhesive": (rules["adhesive_allowance"], rules["adhesive_covers"]),
        "Turf adhesive, full spread": (rules["glue_allowance"], rules["glue_covers"]),
        "Turf nails": (rules["nail_allowance"], box["turf_nail"]),
        "Seam nails": (rules["nail_allowance"], box["seam_nail"]),
        "Nails or staples of the fabric": (rules["nail_allowance"], box["fabric_nail"]),
        "Edging board": (rules["edging_allowance"], rules["edging_board"]),
        "Infill": (rules["infill_allowance"], rules["infill_bag"]),
        "Disposal of spoil, loose": (0.0, rules["earth_step"]),
    }
    if title in known:
        return known[title]
    if ITEMS[title][0] in ("labour", "plant"):
        return (0.0, None)
    return (None, None)


def caps_of(folder: Folder, rows: list[int], given: list[str]) -> dict[str, Span] | None:
    """Heads to cap by phase, where turf is laid: those the input counts, and the bid's number a
    site where it counts none. ``given``: the column caps of the areas in ``rows``."""
    rules = folder.settings["materials"]
    areas = folder.table("areas")
    if rules["cap_covers"] is not None or len(rows) != len(areas):
        return None
    phase = areas.text("phase")
    site = areas.text("site")
    told = dict.fromkeys(rows, "") | dict(zip(rows, given, strict=True))
    counted: dict[tuple[str, str], list[float]] = {}
    for k in (row for row in rows if folder.laid[row]):
        text = told[k].strip()
        counted.setdefault((phase[k], site[k]), []).extend([float(text)] if text else [])
    spans: dict[str, Span] = {}
    for (name, _), heads in counted.items():
        own = exactly(sum(heads)) if heads else Span(0.0, rules["caps_per_site"])
        spans[name] = spans.get(name, exactly(0.0)).plus(own)
    return spans
