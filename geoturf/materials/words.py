"""The formula of each row in words, with its numbers, in both systems of units."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple, get_args

import pandas as pd

from geoturf import data, units
from geoturf.materials.packages import whole
from geoturf.materials.quantities import densities, swell_factor
from geoturf.records import records
from geoturf.rules import EdgeRules, MaterialRules
from geoturf.rules.base import key_of
from geoturf.rules.edges import Edging
from geoturf.rules.items import ITEMS, say

_SAID = {
    "m2": "area",
    "m3": "volume",
    "m": "length",
    "kg": "mass",
    "h": "hours",
    "each": "count",
}


def rule_values(rules: MaterialRules, edge_rules: EdgeRules) -> dict[str, Any]:
    """The settings that formulas name, by their bid-file keys; production rates as
    ``rate_<task>``."""
    values = {key_of(name): value for name, value in rules} | {
        f"rate_{key_of(name)}": value for name, value in rules.rates
    }
    values |= {
        "perimeter_spacing": edge_rules.perimeter_spacing_m,
        "field_spacing": edge_rules.field_spacing_m,
    }
    values |= {
        "seam_spacing": edge_rules.seam_spacing_m,
        **{f"{edging}_on": ", ".join(edge_rules.edged_with(edging)) for edging in get_args(Edging)},
    }
    for name in ("turf_nail", "seam_nail", "fabric_nail"):
        values[f"{name.removeprefix('turf_')}s_per_kg"] = data.value(
            "nails", getattr(rules, name), "count"
        )
    values["caps_by"] = caps_by(rules)
    values["lifts"] = float(rules.lifts())
    values["below_overlap"] = rules.lap_below_m()
    values["compacted_density"], values["swell"] = densities(rules)[0], swell_factor(rules)
    return values


def caps_by(rules: MaterialRules) -> str:
    """What heads are assumed by."""
    if rules.cap_covers_m2 is None:
        return f"{rules.caps_per_site:g} a site"
    ft2 = rules.cap_covers_m2 / units.FT2_M2
    return f"one a {ft2:,.0f} ft2 ({rules.cap_covers_m2:,.1f} m2) of watered ground"


def put_in_words(
    rows: pd.DataFrame, sums: pd.DataFrame, settings: Mapping[str, dict[str, Any]]
) -> None:
    """Fills ``basis`` and ``basis_metric`` of the rows that have none; ``settings`` by phase."""
    values = {str(phase): _values(group, settings[str(phase)]) for phase, group in sums.iterrows()}
    bought = records(rows, _Bought)
    for system, column in (("us", "basis"), ("metric", "basis_metric")):
        said = rows[column].tolist() if column in rows else [""] * len(rows)
        rows[column] = [
            words
            if row.key == "turf"
            else _said(row, values[row.phase], system)  # turf has its own
            for words, row in zip(said, bought, strict=True)
        ]


class _Bought(NamedTuple):
    """What of a row is put in words; ``net`` and ``order_size`` in ``unit``, SI."""

    key: str
    phase: str
    net: float
    unit: str
    allowance: float
    order: int
    order_unit: str
    order_size: float


def _values(group: pd.Series[float], settings: dict[str, Any]) -> dict[str, Any]:
    """What the formulas of one pool may name."""
    sums = {str(name): value for name, value in group.items()}
    return settings | sums | _derived(sums, settings)


def _said(row: _Bought, values: dict[str, Any], system: str) -> str:
    return say(ITEMS[row.key].basis, values, system) + _rounding(row, system)


def _rounding(row: _Bought, system: str) -> str:
    """The last step in words: allowance, packages, rounded up."""
    packages = row.net * (1 + row.allowance) / row.order_size
    if abs(packages - row.order) < units.MILLIONTH:
        return ""
    more = ""
    if row.allowance:
        more = f"with {100 * row.allowance:g} % more "
    counted = ITEMS[row.key].package or row.order_unit == "lot"
    package = row.order_unit
    if counted:
        package = f"x {row.order_unit}"
    if counted and row.order_size != 1:
        package += " of " + say(f"{{size:{_SAID[row.unit]}}}", {"size": row.order_size}, system)
    by_site = ""
    if row.order != whole(packages):
        by_site = "site by site "
    return f"; {more}makes {packages:,.2f} {package}, rounded up {by_site}to {row.order:,}"


def _derived(group: dict[str, float], settings: dict[str, Any]) -> dict[str, float]:
    """Means and masses of one pool."""
    filled = group.get("filled") or 1.0
    names = {
        "infill_rate": "infill",
        "infill_low": "infill_low",
        "infill_high": "infill_high",
    }
    means = {name: group.get(column, 0.0) / filled for name, column in names.items()}
    means["infill_depth"] = means["infill_rate"] / settings["infill_density"]
    dug = group.get("dug", 0.0)
    base = group.get("base", 0.0)
    if dug > 0:
        means["dig_depth"] = group["dug_out"] / dug
    if base > 0:
        means |= {"base_depth": group["compacted"] / base, "lifts": group["lifted"] / base}
    return means | {
        f"{key}_kg": group.get(key, 0.0) / settings[f"{key}_per_kg"]
        for key in ("nails", "seam_nails", "fabric_nails")
    }
