"""water.csv: volumes by plain formulas from the bid's climate, costs at its prices, and what is
chosen within its budget."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from importlib import resources
from typing import Any

import numpy as np

from geoturf.audit.factors import VOLUMES
from geoturf.audit.folder import Folder, Table
from geoturf.audit.told import Floats, Told, between, compared, first_wrong, unseen

_LITRES = 1.01  # of the last whole unit that a volume is told in


def promises(folder: Folder) -> Iterator[Told]:
    if not folder.has("water"):
        return
    table = folder.table("water")
    rules = folder.settings["water"]
    yield _saved(table)
    yield from _now(folder, table, rules)
    yield _turf(folder, table, rules)
    yield _capital(folder, table, rules)
    yield _choice(folder, table, rules)


def _volumes(table: Table, base: str) -> tuple[Floats, float]:
    """Cubic metres, and what one of the unit that they are told in is."""
    for ending, size in VOLUMES.items():
        if table.has(base + ending):
            return table.numbers(base + ending) * size, size
    return table.si(base), 1.0


def _saved(table: Table) -> Told:
    (before, one), (after, _), (told, _) = (
        _volumes(table, name) for name in ("baseline", "use", "saved")
    )
    names = _names(table)
    return compared("water saved", "water saved", names, told, before - after, 1.6 * one, "m3")


def _now(folder: Folder, table: Table, rules: dict[str, Any]) -> Iterator[Told]:
    """Water used now: evapotranspiration by the cover's factor over the efficiency, less as much
    rain as falls at the most, none at the least (rain that counts lies between, whatever the
    way)."""
    one_climate = not (rules["climate_by"] or rules["climates"] or rules["metered"])
    climate = rules["climate"]
    if not (one_climate and rules["cover"] and climate["eto"] and rules["constant"] == "exact"):
        yield unseen("water now", "covers, climates or meters by area are not reckoned with")
        return
    cover, way = (_published(f"water_{name}") for name in ("covers", "irrigation"))
    of = rules["cover"]
    how = rules["irrigation"]
    if of in rules["covers"] or how in rules["efficiencies"] or of not in cover or how not in way:
        yield unseen("water now", "the bid's own covers and irrigation are not reckoned with")
        return
    eto = np.array(climate["eto"])
    rain = np.array(climate["rain"] or [0.0] * 12)
    most = eto.sum() * cover[of] / way[how]
    least = np.maximum(0, eto * cover[of] - rain).sum() / way[how]
    told, one = _volumes(table, "baseline")
    land = _ground(folder, table)
    room = _LITRES * one + 0.01 * land
    yield between(
        "water now", "water used now", _names(table), told, least * land - room, most * land + room
    )


def _published(name: str) -> dict[str, float]:
    """The first two columns of a published table that tell a name and a number."""
    text = (resources.files("geoturf") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return {row.get("cover") or row.get("method") or "": float(row["value"]) for row in rows}


def _turf(folder: Folder, table: Table, rules: dict[str, Any]) -> Told:
    """Turf takes what it is rinsed and cooled with."""
    told, one = _volumes(table, "use")
    land = _ground(folder, table)
    names = _names(table)
    kinds = table.text("conversion")
    rows = [k for k, kind in enumerate(kinds) if rules["conversions"].get(kind, {}).get("turf")]
    depth = [_applied(rules["conversions"][kinds[k]]) for k in rows]
    own = land[rows] * np.array(depth)
    some = [names[k] for k in rows]
    return compared("water of turf", "water of turf", some, told[rows], own, _LITRES * one, "m3")


def _applied(conversion: dict[str, Any]) -> float:
    """Metres a year of rinsing and cooling."""
    rinse = conversion["rinse"] * sum(conversion["rinses"])
    return float(rinse + conversion["cooling"] * sum(conversion["coolings"]))


def _capital(folder: Folder, table: Table, rules: dict[str, Any]) -> Told:
    """A conversion at a cost by area costs that along the slope, and no more is given towards it
    than it costs."""
    land = _ground(folder, table, "surface_area")
    half_m2 = folder.table("areas").step("surface_area") * 0.51
    kinds = np.array(table.text("conversion"), object)
    names = _names(table)
    capital = table.numbers("capital")
    rebate = table.numbers("rebate")
    by_area = np.zeros(len(kinds), bool)
    own, room, line = np.zeros((3, len(kinds)))
    for kind in dict.fromkeys(kinds):
        rule = rules["conversions"].get(kind) or {}
        each = rule.get("capital")
        if each and each["dimension"] == [2, 0, 0]:
            mine = kinds == kind
            a_m2 = float(each["amount"]) / each["si"]
            by_area |= mine
            own[mine] = land[mine] * a_m2
            room[mine] = half_m2 * a_m2 + 0.0051  # surface and cost are rounded
            line[mine] = float((rule.get("kept_line") or {}).get("amount", 0))
    off = by_area & ~((own - room <= capital) & (capital <= own + room + line))
    over = rebate > capital + 0.006
    wrong = []
    for k in np.flatnonzero(off | over).tolist():
        if off[k]:
            wrong.append(f"{names[k]} costs {capital[k]:,.2f}, {own[k]:,.2f} by its ground")
        if over[k]:
            wrong.append(f"{names[k]} is given {rebate[k]:,.2f}, it costs {capital[k]:,.2f}")
    return first_wrong("costs of conversions", "costs of conversions", wrong, len(kinds))


def _choice(folder: Folder, table: Table, rules: dict[str, Any]) -> Told:
    """One conversion an area at the most, within the budget, and no more turf than the bid's
    share."""
    chosen = np.array([one == "yes" for one in table.text("chosen")], bool)
    keys = [key for key, own in zip(_keys(table), chosen, strict=True) if own]
    wrong = [] if len(set(keys)) == len(keys) else ["an area is converted twice"]
    takes = table.numbers("capital")
    if rules["budget_takes"] != "capital":
        takes = takes - table.numbers("rebate")
    spent = float(takes[chosen].sum())
    if rules["budget"] and not rules["programme"]:
        budget = float(rules["budget"]["amount"])
        if spent > budget + 0.006 * (1 + len(keys)):
            wrong.append(f"what is chosen takes {spent:,.2f} of a budget of {budget:,.2f}")
    areas = folder.table("areas")
    turf = [bool((rules["conversions"].get(k) or {}).get("turf")) for k in table.text("conversion")]
    laid = float(_ground(folder, table)[chosen & np.array(turf, bool)].sum())
    whole = float(areas.si("ground_area").sum())
    if laid > rules["turf_share"] * whole * (1 + 1e-6) + 1:
        wrong.append(f"turf is chosen on {laid:,.0f} of {whole:,.0f} m2")
    return first_wrong("choice", "conversions chosen", wrong, len(keys))


def _ground(folder: Folder, table: Table, measure: str = "ground_area") -> Floats:
    areas = folder.table("areas")
    of = dict(zip(_keys(areas), areas.si(measure).tolist(), strict=True))
    return np.array([of[key] for key in _keys(table)], float)


def _keys(table: Table) -> list[tuple[str, str]]:
    return list(zip(table.text("site"), table.text("area"), strict=True))


def _names(table: Table) -> list[str]:
    rows = zip(table.text("site"), table.text("area"), table.text("conversion"), strict=True)
    return [f"site {site}, area {area}, {conversion}" for site, area, conversion in rows]
