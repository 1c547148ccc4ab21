"""Quantities to rows: summed over a pool first, rounded up to packages once, said in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from geoturf.materials.packages import Package, measure_named, packages, whole
from geoturf.materials.turf import turf_rows
from geoturf.materials.words import put_in_words, rule_values
from geoturf.model import CutPlan
from geoturf.rules import EdgeRules, MaterialRules, Product
from geoturf.rules.item import Item
from geoturf.rules.items import ITEMS

COLUMNS = [
    "scope", "scope_kind", "phase", "site", "key", "section", "item", "net", "unit", "allowance", "order", "order_unit",
    "order_size", "order_by_site", "net_low", "net_high", "product", "width_m", "price_key", "basis", "basis_metric",
]  # fmt: skip

_KINDS = ("pool", "site", "bid")
_AS_POOL = "as its pool's, rounded up for this site alone"


def takeoff_rows(
    areas: pd.DataFrame,
    q: pd.DataFrame,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
    books: Mapping[str, MaterialRules],
    each: bool = True,
) -> pd.DataFrame:
    """Rows of the areas-aligned quantities ``q`` of kind pool, site (without turf, see `beside`;
    where ``each`` has some) and bid; `COLUMNS`."""
    phase = areas["phase"].astype(str)
    site = areas["site"].astype(str)
    sums = q.groupby(phase, sort=False).sum()
    bought_by = packages(rules)
    settings = _settings(areas, rules, edge_rules, books)
    pools = pd.concat([_rows(sums, bought_by), turf_rows(plan, products)], ignore_index=True)
    by_site = q.groupby([phase, site], sort=False).sum()
    pools = _with_site_orders(pools, by_site, bought_by, rules.pool)
    put_in_words(pools, sums, settings)
    sites = _rows(by_site if each else by_site.iloc[:0], bought_by)
    sites = sites.assign(
        basis=_AS_POOL,
        basis_metric=_AS_POOL,
        order_by_site=sites["order"],
    )
    return _ordered(
        {
            "pool": pools,
            "site": sites,
            "bid": _totals(pools, len(sums)),
        },
        phase,
        site,
    )


def _settings(
    areas: pd.DataFrame,
    rules: MaterialRules,
    edge_rules: EdgeRules,
    books: Mapping[str, MaterialRules],
) -> dict[str, dict[str, Any]]:
    """What formulas may name, phase by phase: a phase lies under one price book."""
    under = areas["price_book"] if books else [""] * len(areas)
    used = dict(zip(areas["phase"].astype(str), under, strict=True))
    values = {name: rule_values(books.get(name, rules), edge_rules) for name in set(used.values())}
    return {phase: values[name] for phase, name in used.items()}


def beside(
    items: pd.DataFrame, areas: pd.DataFrame, alone: CutPlan, products: Mapping[str, Product]
) -> pd.DataFrame:
    """``items`` with what every site's own cut plan buys (``alone``, in which sites share no rolls)
    beside what its pool buys."""
    phase = areas["phase"].astype(str)
    site = areas["site"].astype(str)
    kinds = {kind: items[items["scope_kind"] == kind] for kind in ("pool", "site")}
    owner = dict(
        zip(
            alone.pieces["roll"],
            site.to_numpy()[alone.pieces["area_index"].to_numpy()],
            strict=True,
        )
    )
    turf = turf_rows(alone, products, owner)
    turf = turf.assign(order_by_site=turf["order"])
    pools = _with_turf_orders(kinds["pool"], turf)
    sites = pd.concat([kinds["site"], turf], ignore_index=True)
    return _ordered(
        {
            "pool": pools,
            "site": sites,
            "bid": _totals(pools, phase.nunique()),
        },
        phase,
        site,
    )


def _rows(sums: pd.DataFrame, bought_by: Mapping[str, Package]) -> pd.DataFrame:
    """One row a group and item; ``sums`` is indexed by phase, or by phase and site."""
    keys = [key for key in ITEMS if key in sums and key != "turf"]
    told = pd.DataFrame([_told(ITEMS[key], bought_by[key]) for key in keys], index=keys)
    group = np.tile(np.arange(len(sums)), len(keys))
    item = np.repeat(keys, len(sums))
    rows = told.loc[item].rename_axis("key").reset_index()
    rows["net"] = sums[keys].to_numpy().T.ravel()
    rows["order"] = whole(rows["net"] * (1 + rows["allowance"]) / rows["order_size"])
    rows["phase"] = sums.index.get_level_values(0)[group]
    rows["site"] = sums.index.get_level_values(1)[group] if sums.index.nlevels > 1 else ""
    for end in ("low", "high"):
        filled = sums[f"infill_{end}"].to_numpy()[group] if f"infill_{end}" in sums else np.nan
        rows[f"net_{end}"] = np.where(rows["key"] == "infill", filled, np.nan)
    return rows[rows["net"] > 1e-9]


def _told(item: Item, package: Package) -> dict[str, Any]:
    """What all rows of an item have."""
    return {
        "section": item.section,
        "item": item.title,
        "unit": item.unit,
        "allowance": package.allowance,
        "order_unit": item.package or measure_named(package.size, item.dimension),
        "order_size": package.size,
        "product": "",
        "width_m": np.nan,
        "price_key": item.cost,
    }


def _with_site_orders(
    pools: pd.DataFrame, by_site: pd.DataFrame, bought_by: Mapping[str, Package], pool: str
) -> pd.DataFrame:
    """What rounding site by site (sums ``by_site``) would order, beside each pool's order; in its
    place where sites are pools themselves. Turf is what the plan buys."""
    keys = [key for key in ITEMS if key in by_site and key != "turf"]
    more = [1 + bought_by[key].allowance for key in keys]
    sizes = [bought_by[key].size for key in keys]
    orders = pd.DataFrame(whole(by_site[keys] * more / sizes), by_site.index, keys)
    alone = orders.groupby(level=0, sort=False).sum()
    turf = pools["key"] == "turf"
    at = (
        alone.index.get_indexer(pd.Index(pools["phase"])),
        alone.columns.get_indexer(pd.Index(pools["key"])),
    )
    rounded = np.where(at[1] < 0, 0, alone.to_numpy()[at])
    pools = pools.assign(order_by_site=np.where(turf, pools["order"], rounded).astype(np.int64))
    if pool == "site":
        return pools.assign(order=pools["order_by_site"])
    return pools


def _with_turf_orders(pools: pd.DataFrame, turf: pd.DataFrame) -> pd.DataFrame:
    """Beside the turf of each phase and product what its sites buy alone; of rolls of several
    sizes, beside the first."""
    match = ["phase", "product"]
    bought = (turf["order"] * turf["order_size"]).groupby([turf[name] for name in match]).sum()
    mine = pools["key"] == "turf"
    first = mine & ~pools[mine].duplicated(match).reindex(pools.index, fill_value=False)
    wanted = bought.reindex(pd.MultiIndex.from_frame(pools[match])).fillna(0.0).to_numpy()
    orders = whole(np.where(first, wanted / pools["order_size"], 0.0))
    return pools.assign(
        order_by_site=np.where(mine, orders, pools["order_by_site"]).astype(np.int64)
    )


def _totals(pools: pd.DataFrame, count: int) -> pd.DataFrame:
    """The whole bid's rows: sums of the pools'."""
    group = ["key", "product", "width_m", "order_size", "order_unit"]
    sums = dict.fromkeys(("net", "order", "order_by_site", "net_low", "net_high"), "sum")
    same = dict.fromkeys(("section", "item", "unit", "allowance", "price_key"), "first")
    total = pools.groupby(
        group,
        sort=False,
        dropna=False,
        as_index=False,
    ).agg(sums | same)
    total[["net_low", "net_high"]] = total[["net_low", "net_high"]].where(total["key"].eq("infill"))
    said = f"sum of {count} pools" if count > 1 else "as its pool's"
    return total.assign(
        phase="",
        site="",
        basis=said,
        basis_metric=said,
    )


def _ordered(kinds: dict[str, pd.DataFrame], phase: pd.Series, site: pd.Series) -> pd.DataFrame:
    """All rows: pools, sites, totals; within them phases and sites as they come, items in the
    order of `ITEMS`."""
    rows = pd.concat(
        [table.assign(scope_kind=kind) for kind, table in kinds.items()], ignore_index=True
    )
    text = ["phase", "site", "product", "basis", "basis_metric"]
    rows[text] = rows[text].fillna("")
    named = np.where(rows["phase"].eq(""), "all sites", "phase " + rows["phase"])
    rows["scope"] = np.select(
        [rows["scope_kind"].eq("site"), rows["scope_kind"].eq("bid")],
        ["site " + rows["site"], "bid"],
        named,
    )
    phases = {name: place for place, name in enumerate(phase.unique())} | {"": -1}
    sites = {name: place for place, name in enumerate(site.unique())} | {"": -1}
    ranks = (
        rows["key"].map(list(ITEMS).index),
        rows["site"].map(sites),
        rows["phase"].map(phases),
        rows["scope_kind"].map(_KINDS.index),
    )
    return rows.iloc[np.lexsort(ranks)].reset_index(drop=True)[COLUMNS]
