"""What a lot takes: its areas, its materials with what they weigh, its nails."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from geoturf.model import Result
from geoturf.rules import MaterialRules
from geoturf.rules.items import ITEMS, shown
from geoturf.units import POUND_KG, System, powers, round_up

_NAIL = {
    "nails": "turf_nail",
    "seam_nails": "seam_nail",
    "fabric_nails": "fabric_nail",
}
_PACKAGES = {item.package for item in ITEMS.values() if item.package}


class Lot(NamedTuple):
    """A site in a phase; ``areas`` are rows of the ground's areas."""

    phase: str
    site: str
    areas: tuple[int, ...]


class Taken(NamedTuple):
    """An item of a lot: what it takes net, ``amount`` of its unit, and what is brought, in whole
    packages."""

    key: str
    title: str
    amount: float
    net: str
    brought: str
    weight_kg: float | None  # of what is brought; None where no weight is known


def of(result: Result) -> list[Lot]:
    """In the order of work; phases of a lot as they first stand in the data."""
    land = result.ground.areas
    order = result.plan.lots
    turn = {} if order is None else {str(site): k for k, site in enumerate(order["site"])}
    rows: dict[tuple[str, str], list[int]] = {}
    for row, key in enumerate(
        zip(land["phase"].astype(str), land["site"].astype(str), strict=True)
    ):
        rows.setdefault(key, []).append(row)
    every = [Lot(phase, site, tuple(areas)) for (phase, site), areas in rows.items()]
    return sorted(every, key=lambda lot: turn.get(lot.site, 0))


def taken(result: Result) -> dict[tuple[str, str], list[Taken]]:
    """Materials, services and plant of each lot by phase and site; turf stands piece by piece
    elsewhere."""
    rules = result.bid.materials
    items = result.takeoff.items
    mine = items[items["scope_kind"].eq("site") & items["key"].ne("turf")]
    mine = mine.assign(size=mine["order_size"])
    out: dict[tuple[str, str], list[Taken]] = {}
    for row in shown(mine, result.bid.units).itertuples(index=False):
        item = ITEMS[row.key]
        if item.kind == "labour":
            continue
        weight = _unit_kg(row.key, item.unit, rules)
        one = Taken(
            row.key,
            row.item,
            float(row.net),
            _said(row.net, row.unit, 0 if row.unit == "each" else 1),
            _said(row.order, row.order_unit),
            None if weight is None else weight * row.order * row.size,
        )
        out.setdefault((row.phase, row.site), []).append(one)
    return out


def _said(quantity: float, unit: str, decimals: int = 0) -> str:
    number = f"{quantity:,.{decimals}f}"
    unit = powers(unit)
    if unit == "each":
        return number
    plural = "es" if unit.endswith("x") else "s"
    return f"{number} {unit}" + (plural if unit in _PACKAGES and quantity != 1 else "")


def _unit_kg(key: str, unit: str, rules: MaterialRules) -> float | None:
    """What a net unit of an item weighs; None where that is not known."""
    if key in _NAIL:
        return rules.nail_box_kg / rules.nails_a_box(getattr(rules, _NAIL[key]))
    return 1.0 if unit == "kg" else None


def weight(kg: float, system: System) -> str:
    """To the pound or kilogram more: what is lifted is not told too light."""
    per, word = (POUND_KG, "lb") if system.name == "us" else (1.0, "kg")
    return f"{round_up(kg, per):,} {word}"


def turf_kg(result: Result, product: str, area_m2: float) -> float:
    per_m2: float = result.bid.products[product].weight_kg_per_m2()
    return area_m2 * per_m2


def fasteners(result: Result, area: int, system: System) -> list[tuple[str, str]]:
    """What holds an area's turf: word, quantity."""
    edges = result.bid.edges
    border = result.edges.totals
    quantities = result.takeoff.areas
    return list(
        _fasteners(
            {
                f"perimeter nails, {system.tape(edges.perimeter_spacing_m)} apart": float(
                    border["perimeter_fasteners"].to_numpy()[area]
                ),
                f"field nails, {system.tape(edges.field_spacing_m)} both ways": float(
                    border["field_fasteners"].to_numpy()[area]
                ),
                f"seam nails, {system.tape(edges.seam_spacing_m)} apart": float(
                    quantities["seam_fasteners"].to_numpy()[area]
                ),
            },
            {"seam tape": float(quantities["taped"].to_numpy()[area]), "glued": 0.0},
            system,
        )
    )


def _fasteners(
    counts: dict[str, float], lengths: dict[str, float], system: System
) -> Iterator[tuple[str, str]]:
    for word, count in counts.items():
        if count:
            yield word, f"{count:,.10g}"
    for word, length in lengths.items():
        if length:
            yield word, system.tape(length, up=True)
