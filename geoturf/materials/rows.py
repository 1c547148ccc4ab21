"""Quantities to rows: summed over a pool first, rounded up to packages once, said in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from geoturf import data, units
from geoturf.materials.quantities import densities, swell_factor
from geoturf.model import CutPlan
from geoturf.rules import EdgeRules, MaterialRules, Product
from geoturf.rules.items import ITEMS, Item, say

COLUMNS = [
    "scope", "scope_kind", "phase", "site", "key", "section", "item", "net", "unit", "allowance", "order", "order_unit",
    "order_size", "order_by_site", "net_low", "net_high", "product", "width_m", "price_key", "basis", "basis_metric",
]  # fmt: skip

_AS_POOL = "as its pool's, rounded up for this site alone"
_MEASURES = ("ton", "t", "lb", "kg", "yd^3", "m^3", "ft^2", "m^2", "ft", "m", "in", "cm", "mm", "h")


def takeoff_rows(
    areas: pd.DataFrame,
    q: pd.DataFrame,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
) -> pd.DataFrame:
    """Rows of kind pool, site and bid, in the order of phases, sites and items; columns `COLUMNS`."""
    phase = areas["phase"].astype(str)
    pools = q.groupby(phase, sort=False).sum()
    sites = q.groupby([phase, areas["site"].astype(str)], sort=False).sum()
    packages = _packages(rules)
    rule_values = _rule_values(rules, edge_rules)
    pool_rows = pd.concat([_rows(pools, packages), _turf_pools(plan, products)], ignore_index=True)
    site_rows = pd.concat([_rows(sites, packages), _turf_sites(areas, plan, products)], ignore_index=True)
    pool_rows = _with_site_orders(pool_rows, site_rows, rules.pool)
    _put_in_words(pool_rows, pools, rule_values)
    site_rows["basis"] = site_rows["basis_metric"] = _AS_POOL
    return _ordered(pool_rows, site_rows, list(pools.index), list(sites.index))


def _packages(rules: MaterialRules) -> dict[str, tuple[float, float]]:
    """Key -> (SI units a purchase unit, allowance)."""
    nails = {
        name: rules.nail_box_kg * data.value("nails", getattr(rules, name), "count")
        for name in ("turf_nail", "seam_nail", "fabric_nail")
    }
    sizes = {
        "dig": (rules.earth_step_m3, 0.0),
        "disposal": (rules.earth_step_m3, 0.0),
        "fabric": (rules.fabric_roll_width_m * rules.fabric_roll_length_m, rules.fabric_allowance),
        "geotextile": (rules.below_roll_width_m * rules.below_roll_length_m, rules.fabric_allowance),
        "aggregate": (rules.aggregate_step_kg, rules.aggregate_allowance),
        "odour": (rules.odour_bag_kg, rules.odour_allowance),
        "tape": (rules.tape_roll_m, rules.tape_allowance),
        "adhesive": (rules.adhesive_covers_m, rules.adhesive_allowance),
        "glue": (rules.glue_covers_m2, rules.glue_allowance),
        "nails": (nails["turf_nail"], rules.nail_allowance),
        "seam_nails": (nails["seam_nail"], rules.nail_allowance),
        "fabric_nails": (nails["fabric_nail"], rules.nail_allowance),
        "edging": (rules.edging_board_m, rules.edging_allowance),
        "stakes": (1.0, rules.edging_allowance),
        "infill": (rules.infill_bag_kg, rules.infill_allowance),
    }
    days = {key: (rules.hours_a_day_h, 0.0) for key, item in ITEMS.items() if item.kind == "plant"}
    return dict.fromkeys(ITEMS, (1.0, 0.0)) | sizes | days


def measure_named(size: float, dimension: tuple[int, int, int] | None) -> str:
    """The word for a purchase unit without a package: ``ton``, ``yd^3``; ``lot`` for odd sizes."""
    for name in _MEASURES:
        factor, found = units.unit_factor(name)
        if found == dimension and abs(size / factor - 1) < 1e-9:
            return name
    return "lot"


def _rows(sums: pd.DataFrame, packages: Mapping[str, tuple[float, float]]) -> pd.DataFrame:
    """One row a group and item; ``sums`` is indexed by phase, or by phase and site."""
    phase = sums.index.get_level_values(0)
    site = sums.index.get_level_values(1) if sums.index.nlevels > 1 else ""
    blocks = [_block(item, sums, phase, site, *packages[key]) for key, item in ITEMS.items() if key != "turf"]
    rows = pd.concat(blocks, ignore_index=True)
    return rows[rows["net"] > 1e-9]


def _block(item: Item, sums: pd.DataFrame, phase: pd.Index, site: Any, size: float, allowance: float) -> pd.DataFrame:
    net = sums[item.key].to_numpy()
    low, high = (sums[f"infill_{end}"].to_numpy() if item.key == "infill" else np.nan for end in ("low", "high"))
    return pd.DataFrame(
        {
            "phase": phase, "site": site, "key": item.key, "section": item.section, "item": item.title, "net": net,
            "unit": item.unit, "allowance": allowance, "order": _whole(net * (1 + allowance) / size),
            "order_unit": item.package or measure_named(size, item.dimension), "order_size": size, "net_low": low,
            "net_high": high, "product": "", "width_m": np.nan, "price_key": item.cost,
        }
    )  # fmt: skip


def _whole(packages: Any) -> np.ndarray:
    """Rounded up; a millionth of a package over does not buy another one."""
    return np.maximum(0, np.ceil(np.asarray(packages, float) - 1e-6)).astype(np.int64)


def _turf_pools(plan: CutPlan, products: Mapping[str, Product]) -> pd.DataFrame:
    """Turf as the cut plan buys it: whole rolls by width and length, or lengths by width."""
    cut = (plan.pieces["length_m"] * plan.pieces["width_m"]).groupby(plan.pieces["roll"]).sum()
    whole = _whole_rolls(plan.rolls["product"], products)
    rolls = plan.rolls.assign(
        phase=plan.rolls["phase"].astype(str),
        net=plan.rolls["roll"].map(cut).fillna(0.0),
        size=plan.rolls["length_m"].where(whole, 0.0),
    )
    found = rolls.groupby(["phase", "product", "width_m", "size"], sort=True, as_index=False).agg(
        net=("net", "sum"), pieces=("pieces", "sum"), rolls=("roll", "size"), length=("length_m", "sum")
    )
    whole = _whole_rolls(found["product"], products)
    steps = [
        ("roll", size) if size else _length_step(length)
        for size, length in zip(found["size"], found["length"], strict=True)
    ]
    step_m = np.array([step for _, step in steps], float)
    words = found.assign(width=found["width_m"], sold_as=np.where(whole, "whole rolls", "lengths off rolls")).to_dict(
        "records"
    )
    return _turf(found, products).assign(
        order=np.where(whole, found["rolls"], np.rint(found["length"] / step_m)).astype(np.int64),
        order_unit=[unit for unit, _ in steps],
        order_size=step_m * found["width_m"],
        basis=[say(ITEMS["turf"].basis, row, "us") for row in words],
        basis_metric=[say(ITEMS["turf"].basis, row, "metric") for row in words],
    )


def _whole_rolls(product: pd.Series, products: Mapping[str, Product]) -> pd.Series:
    return product.map({name: p.sold_by == "roll" for name, p in products.items()}).astype(bool)


def _turf(found: pd.DataFrame, products: Mapping[str, Product]) -> pd.DataFrame:
    """What all rows of turf have; ``found`` has phase, product, width_m, net."""
    item, titles = ITEMS["turf"], {name: p.title for name, p in products.items()}
    kept = found.reindex(columns=["phase", "site", "product", "width_m", "net"])
    return kept.assign(
        key="turf",
        section=item.section,
        item=found["product"].map(titles),
        unit=item.unit,
        allowance=0.0,
        price_key="turf",
    )


def _length_step(length_m: float) -> tuple[str, float]:
    """The coarsest unit in which a length billed by steps is whole."""
    for unit in ("ft", "m", "in", "cm"):
        step = units.unit_factor(unit)[0]
        if abs(length_m / step - round(length_m / step)) < 1e-6:
            return unit, step
    return "mm", 0.001


def _turf_sites(areas: pd.DataFrame, plan: CutPlan, products: Mapping[str, Product]) -> pd.DataFrame:
    """The least each site would buy alone: its pieces' area in whole rolls or feet, as if they packed without loss."""
    widths = plan.rolls.set_index("roll")["width_m"]
    at = (
        areas.loc[plan.pieces["area_index"].to_numpy(), ["phase", "site", "product"]].astype(str).reset_index(drop=True)
    )
    at["width_m"] = widths.loc[plan.pieces["roll"].to_numpy()].to_numpy()
    at["net"] = (plan.pieces["length_m"] * plan.pieces["width_m"]).to_numpy()
    found = at.groupby(["phase", "site", "product", "width_m"], sort=False, as_index=False)["net"].sum()
    whole = _whole_rolls(found["product"], products)
    longest = found["product"].map({name: p.roll_lengths[0] for name, p in products.items()}).astype(float)
    size = found["width_m"] * longest.where(whole, units.FOOT_M)
    order = _whole(found["net"] / size)
    return _turf(found, products).assign(order=order, order_unit=np.where(whole, "roll", "ft"), order_size=size)


def _with_site_orders(pools: pd.DataFrame, sites: pd.DataFrame, pool: str) -> pd.DataFrame:
    """What rounding site by site would order, beside each pool's order; in its place where sites are pools themselves."""
    match = ["phase", "key", "product", "width_m"]
    alone = (
        sites.assign(bought=sites["order"] * sites["order_size"])
        .groupby(match, sort=False, dropna=False)["bought"]
        .sum()
    )
    wanted = pd.MultiIndex.from_frame(pools[match])
    bought = alone.reindex(wanted).fillna(0.0).to_numpy()
    first = ~pools.duplicated(match)  # rolls of several lengths: the comparison stands beside the first
    pools = pools.assign(order_by_site=_whole(np.where(first, bought / pools["order_size"], 0.0)))
    if pool == "site":
        pools["order"] = pools["order"].where(pools["key"] == "turf", pools["order_by_site"])
    return pools


def _rule_values(rules: MaterialRules, edge_rules: EdgeRules) -> dict[str, Any]:
    """The settings that formulas name."""
    values = {name.removesuffix(_suffix(name)): getattr(rules, name) for name in type(rules).model_fields}
    values |= {
        f"rate_{name.removesuffix(_suffix(name))}": getattr(rules.rates, name)
        for name in type(rules.rates).model_fields
    }
    values |= {"perimeter_spacing": edge_rules.perimeter_spacing_m, "field_spacing": edge_rules.field_spacing_m}
    values |= {"seam_spacing": edge_rules.seam_spacing_m, "edging_on": ", ".join(edge_rules.edging_on)}
    for name, key in (("turf_nail", "nails"), ("seam_nail", "seam_nails"), ("fabric_nail", "fabric_nails")):
        values[f"{key}_per_kg"] = data.value("nails", getattr(rules, name), "count")
    values["lifts"] = np.ceil(rules.base_depth_m / rules.lift_m - 1e-6)
    values["compacted_density"], values["swell"] = densities(rules)[0], swell_factor(rules)
    return values


def _suffix(name: str) -> str:
    from geoturf.rules.base import key_of

    return name[len(key_of(name)) :]


def _put_in_words(rows: pd.DataFrame, sums: pd.DataFrame, rule_values: dict[str, Any]) -> None:
    """Fills ``basis`` and ``basis_metric`` of the rows that have none."""
    values = {
        phase: rule_values | group | _derived(group, rule_values) for phase, group in sums.to_dict("index").items()
    }
    for system, column in (("us", "basis"), ("metric", "basis_metric")):
        rows[column] = [
            said if isinstance(said, str) else say(ITEMS[key].basis, values[phase], system)
            for said, key, phase in zip(rows[column], rows["key"], rows["phase"], strict=True)
        ]


def _derived(group: dict[str, float], rule_values: dict[str, Any]) -> dict[str, float]:
    """Means and masses of one pool."""
    filled = group["filled"] or 1.0
    rates = {
        "infill_rate": group["infill"] / filled,
        "infill_low": group["infill_low"] / filled,
        "infill_high": group["infill_high"] / filled,
    }
    return rates | {
        f"{key}_kg": group[key] / rule_values[f"{key}_per_kg"] for key in ("nails", "seam_nails", "fabric_nails")
    }


def _ordered(pools: pd.DataFrame, sites: pd.DataFrame, phases: list[str], lots: list[tuple[str, str]]) -> pd.DataFrame:
    """All rows: the pools, then the sites, then the bid's totals; items in the order of `ITEMS`."""
    several = len(phases) > 1
    pools = pools.assign(scope_kind="pool", scope=["phase " + p if p else "all sites" for p in pools["phase"]])
    sites = sites.assign(scope_kind="site", scope="site " + sites["site"], order_by_site=sites["order"])
    group = ["key", "product", "width_m", "order_size", "order_unit"]
    sums = {"net": "sum", "order": "sum", "order_by_site": "sum", "net_low": "sum", "net_high": "sum"}
    same = dict.fromkeys(("section", "item", "unit", "allowance", "price_key"), "first")
    total = pools.groupby(group, sort=False, dropna=False, as_index=False).agg(sums | same)
    total[["net_low", "net_high"]] = total[["net_low", "net_high"]].where(total["key"].eq("infill"))
    said = f"sum of {len(phases)} pools" if several else "as its pool's"
    total = total.assign(scope="bid", scope_kind="bid", phase="", site="", basis=said, basis_metric=said)
    rank = {key: place for place, key in enumerate(ITEMS)}
    place = {p: i for i, p in enumerate(phases)} | {lot: i for i, lot in enumerate(lots)}
    pools = pools.assign(g=pools["phase"].map(place), r=pools["key"].map(rank)).sort_values(["g", "r"], kind="stable")
    sites = sites.assign(
        g=[place[lot] for lot in zip(sites["phase"], sites["site"], strict=True)], r=sites["key"].map(rank)
    ).sort_values(["g", "r"], kind="stable")
    total = total.assign(r=total["key"].map(rank)).sort_values("r", kind="stable")
    rows = pd.concat([pools, sites, total], ignore_index=True)[COLUMNS]
    rows[["product", "site"]] = rows[["product", "site"]].fillna("")
    return rows
