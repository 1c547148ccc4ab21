"""What each area takes, net: whole columns, all of them additive over areas, so that any pool is a
plain sum.

First what is measured (surface, base, seam, edged …), which the records of `geoturf.rules.items`
reckon with and their words name; then a column an item, by its key, as its record says. SI
throughout.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from geoturf import data, units
from geoturf.materials.packages import packages
from geoturf.materials.strips import strips
from geoturf.model import CutPlan, Edges, Ground
from geoturf.rules import EdgeRules, MaterialRules, Product
from geoturf.rules.item import Item
from geoturf.rules.items import DONE_FOR, ITEMS, idle, of_kind, together

#: infill by pile weight (common practice): pile weight, low and high rate; between, linear;
#: outside, the nearer end
INFILL = tuple(
    (
        units.read(pile, "mass per area"),
        units.read(low, "mass per area"),
        units.read(high, "mass per area"),
    )
    for pile, low, high in (
        ("60 oz/yd^2", "1 lb/ft^2", "2 lb/ft^2"),
        ("80 oz/yd^2", "0.5 lb/ft^2", "1 lb/ft^2"),
    )
)

#: loose stone over its volume as placed by the rule of thumb (common practice): a yd3 covers 80 ft2
#: 4 in deep
THUMB = units.read("1 yd^3", "volume") / (
    units.read("80 ft^2", "area") * units.read("4 in", "length")
)

#: covers with nothing on them to kill
NO_PLANTS = ("", "none", "bare_ground", "synthetic_turf")

#: values of the column use that ask for odour-control granules
PET_USES = ("pet", "pets")


def infill_rate(product: Product, rules: MaterialRules) -> tuple[float, float, float]:
    """Low, middle and high infill of a product, kg/m2; a short putting pile takes what a 60 oz/yd2
    pile does."""
    if product.infill == "none":
        return 0.0, 0.0, 0.0
    pile, low, high = np.array(INFILL).T
    weight = pile[0] if product.putting else product.pile_weight_kg_per_m2
    ends = float(np.interp(weight, pile, low)), float(np.interp(weight, pile, high))
    stated = (product.infill_rate_kg_per_m2, rules.infill_rate_kg_per_m2, sum(ends) / 2)
    middle = next(rate for rate in stated if rate is not None)
    return ends[0], middle, ends[1]


def for_pets(areas: pd.DataFrame, products: Mapping[str, Product]) -> pd.Series:
    """Areas that get odour-control granules: by their turf, or by their use."""
    pets = areas["product"].map({name: p.pets for name, p in products.items()}).astype(bool)
    return pets | areas["use"].str.casefold().isin(PET_USES)


def densities(rules: MaterialRules) -> tuple[float, float]:
    """Dry density of the base stone, compacted and in the truck, kg/m3."""
    compacted = rules.compacted_density_kg_per_m3
    loose = rules.loose_density_kg_per_m3
    return (
        data.value("aggregate", rules.aggregate, "compacted") if compacted is None else compacted,
        data.value("aggregate", rules.aggregate, "loose") if loose is None else loose,
    )


def swell_factor(rules: MaterialRules) -> float:
    """Loose volume over volume in place."""
    if rules.swell is None:
        return data.value("swell", rules.soil, "bank to loose")
    return 1 + rules.swell


def per_area(
    ground: Ground,
    edges: Edges,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
    books: Mapping[str, MaterialRules],
) -> pd.DataFrame:
    """Areas-aligned net quantities of every item, and the measures they come from. ``books``: the
    rules by whose rates the work of some areas goes."""
    q = _measured(ground, edges, plan, products, rules, edge_rules)
    q = _reckoned(q, of_kind("material", "service"), rules)
    _none_of(q, together(rules.leave_out))
    _sum_by_task(q)
    q = _reckoned(q, of_kind("labour"), rules)
    _by_own_rates(q, ground.areas, books)
    _none_of(q, idle(rules.leave_out))
    q = _reckoned(q, of_kind("plant"), rules)
    _none_of(q, rules.leave_out)
    return q.astype(float)


def _reckoned(q: pd.DataFrame, items: Iterable[Item], rules: MaterialRules) -> pd.DataFrame:
    """The measures with a column more an item, all put on at once: a table put together column by
    column is slow from 100 on, and pandas says so."""
    made = pd.DataFrame({item.key: item.net(q, rules) for item in items}, index=q.index)
    return pd.concat([q, made], axis=1)


def _by_own_rates(q: pd.DataFrame, areas: pd.DataFrame, books: Mapping[str, MaterialRules]) -> None:
    """Tasks by the rates of each area's own price book."""
    for name in books:
        own = areas["price_book"].eq(name).to_numpy()
        for task in of_kind("labour"):
            q.loc[own, task.key] = task.net(q[own], books[name])


def _none_of(q: pd.DataFrame, keys: Iterable[str]) -> None:
    """Items that are left to others, of those reckoned so far."""
    q[[key for key in keys if key in q]] = 0.0


def _sum_by_task(q: pd.DataFrame) -> None:
    """Columns ``all_<task>``: of what a task is done for, where that is counted in one unit."""
    for task, keys in DONE_FOR.items():
        if len({ITEMS[key].unit for key in keys}) == 1:
            q[f"all_{task.removeprefix('labour_')}"] = sum(q[key] for key in keys)


def _measured(
    ground: Ground,
    edges: Edges,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
) -> pd.DataFrame:
    """Areas-aligned measures: what is there, before it is said what is bought for it."""
    areas = ground.areas
    lot = _Lots(areas)
    q = pd.DataFrame({"surface": areas["surface_area_m2"]})
    nailed = (
        areas["product"]
        .map({name: p.fixing == "nail" for name, p in products.items()})
        .astype(float)
    )
    q["base"], q["glued"] = q["surface"] * nailed, q["surface"] * (1 - nailed)
    q["sites"] = lot.share(1.0)
    dig, base = (_depth(areas, products, f"{name}_depth_m", rules) for name in ("dig", "base"))
    _earth(q, areas["ground_area_m2"] * nailed, dig, lot, rules)
    _stone(q, base, rules)
    _below(q, areas, lot, rules)
    _fabric(q, areas, nailed, rules)
    _turf(q, areas, plan, products, rules)
    _seams(q, edges, plan, nailed, edge_rules)
    _nails(q, edges)
    for edging in ("board", "steel", "nailer"):
        q[f"edged_{edging}"] = _edged(q, edges, edge_rules.edged_with(edging))
    q["edged"] = q["edged_board"] + q["edged_steel"] + q["edged_nailer"]
    stakes = _fasteners(q["edged_board"], rules.stake_spacing_m)
    q["edge_stakes"] = np.where(q["edged_board"] > 0, stakes, 0.0)
    _irrigation(q, areas, lot, rules)
    return q


class _Lots:
    """Sites: what is counted once a site is shared among its areas by surface, so that sums over
    any pool stay whole."""

    def __init__(self, areas: pd.DataFrame):
        self.number = areas.groupby(["phase", "site"], sort=False).ngroup()
        weight = areas["surface_area_m2"].clip(lower=1e-9)
        self.weight = weight / weight.groupby(self.number).transform("sum")

    def total(self, column: pd.Series) -> pd.Series:
        return column.groupby(self.number).transform("sum")

    def share(self, a_site: pd.Series | float) -> pd.Series:
        return self.weight * a_site


def _depth(
    areas: pd.DataFrame, products: Mapping[str, Product], name: str, rules: MaterialRules
) -> pd.Series[float]:
    """A depth of each area: its own, else its turf's, else the bid's."""
    own = {key: getattr(product, name) for key, product in products.items()}
    whole: float = getattr(rules, name)
    of_turf = areas["product"].map({k: whole if d is None else d for k, d in own.items()})
    if name not in areas:
        return of_turf.astype(float)
    return areas[name].fillna(of_turf).astype(float)


def _earth(
    q: pd.DataFrame,
    dug: pd.Series[float],
    depth: pd.Series[float],
    lot: _Lots,
    rules: MaterialRules,
) -> None:
    """Ground dug to its depth, loose spoil, and its loads: whole ones a site."""
    q["dug"] = dug
    q["dug_out"] = dug * depth
    q["spoil"] = q["dug_out"] * swell_factor(rules)
    loose = lot.total(q["spoil"])
    loads = units.whole_steps(loose, rules.truck_m3)
    q["loads"] = (q["spoil"] / loose.where(loose > 0) * loads).fillna(0.0)


def _stone(q: pd.DataFrame, depth: pd.Series[float], rules: MaterialRules) -> None:
    compacted, loose = densities(rules)
    q["compacted"] = q["base"] * depth
    q["lifted"] = q["base"] * depth.map(rules.lifts)
    q["stone"] = q["compacted"] * compacted * (1 + rules.moisture)
    q["thumb"] = q["compacted"] * THUMB
    q["aggregate_loose"] = q["compacted"] * compacted / loose


def _below(q: pd.DataFrame, areas: pd.DataFrame, lot: _Lots, rules: MaterialRules) -> None:
    """Living cover on the ground that is dug, drain lines under the base, and their outlets."""
    cover = areas["cover"].str.casefold().str.replace(" ", "_")
    q["sod"] = q["dug"] * ~cover.isin(NO_PLANTS)
    q["drained"] = q["base"] / (rules.drain_spacing_m or np.inf)
    q["led_out"] = lot.share(rules.outlets_per_site) * (lot.total(q["drained"]) > 0)


def _fabric(
    q: pd.DataFrame, areas: pd.DataFrame, nailed: pd.Series[float], rules: MaterialRules
) -> None:
    _strips(q, "fabric", areas, nailed * rules.fabric > 0, rules)
    _strips(q, "below", areas, nailed * rules.fabric_below_base > 0, rules)
    q["fabric_laid"] = q["base"] * rules.fabric


def _strips(
    q: pd.DataFrame, short: str, areas: pd.DataFrame, laid: pd.Series[bool], rules: MaterialRules
) -> None:
    """Columns ``<short>_strips``, ``<short>_length`` (m, laid) and ``<short>_roll`` (m of its roll)
    of a fabric, where it is ``laid``."""
    width, length = (getattr(rules, f"{short}_roll_{name}_m") for name in ("width", "length"))
    overlap = rules.fabric_overlap_m
    if short == "below":
        overlap = rules.lap_below_m()
    columns = [f"{short}_strips", f"{short}_length", f"{short}_roll"]
    q[columns] = 0.0
    if laid.any():
        found = strips(areas.loc[laid, "laid"].to_numpy(), width, length, overlap)
        q.loc[laid, columns] = found.to_numpy(float)


def _turf(
    q: pd.DataFrame,
    areas: pd.DataFrame,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
) -> None:
    q["turf_bought"] = plan.chosen["turf_bought_m2"]
    q["pets"] = q["surface"] * for_pets(areas, products)
    rates = {name: infill_rate(p, rules) for name, p in products.items()}
    for place, column in enumerate(("low", "middle", "high")):
        q[f"infill_{column}"] = q["surface"] * areas["product"].map(
            {name: rate[place] for name, rate in rates.items()}
        )
    q["filled"] = q["surface"] * (q["infill_middle"] > 0)
    kinds = areas["product"].map({name: p.infill for name, p in products.items()})
    q["granulated"] = q["infill_middle"] * kinds.eq("granules")
    ends = ["infill_low", "infill_middle", "infill_high"]
    q[ends] = q[ends].mul(kinds.ne("granules"), axis=0)
    q["padded"] = q["surface"] * areas["product"].map({name: p.pad for name, p in products.items()})


def _seams(
    q: pd.DataFrame, edges: Edges, plan: CutPlan, nailed: pd.Series, edge_rules: EdgeRules
) -> None:
    """Seams inside areas, and half of each border shared with the next area (the other half is the
    neighbour's)."""
    n = len(q)
    spacing = edge_rules.seam_spacing_m
    runs = edges.runs[edges.runs["kind"] == "shared"]
    q["shared"] = np.bincount(runs["area_index"].astype(int), runs["laid_m"] / 2, n)
    inside = _planned_seams(plan, spacing, n) + _estimated_seams(plan, spacing, n)
    q[["cross", "crossings"]] = inside[["cross", "crossings"]]
    q["seam"] = inside["seam"] + q["shared"]
    by_nails = nailed * (edge_rules.seam_method == "nails")
    q["taped"] = q["seam"] * (1 - by_nails)
    counts = inside["fasteners"]
    halves = np.bincount(
        runs["area_index"].astype(int), _fasteners(runs["laid_m"], spacing, runs["closed"]) / 2, n
    )
    q["seam_fasteners"] = (counts + halves) * by_nails


def _planned_seams(plan: CutPlan, spacing_m: float, n: int) -> pd.DataFrame:
    """Seams in each of ``n`` areas as the cut plan has them: seam and cross (m), crossings,
    fasteners."""
    of = plan.seams["area_index"].astype(int)
    long = plan.seams["length_m"]
    cross = plan.seams["kind"].eq("cross")
    sums: dict[str, ArrayLike] = {
        "seam": long,
        "cross": long * cross,
        "crossings": cross,
        "fasteners": _fasteners(long, spacing_m),
    }
    return pd.DataFrame({name: np.bincount(of, some, n) for name, some in sums.items()})


def _estimated_seams(plan: CutPlan, spacing_m: float, n: int) -> pd.DataFrame:
    """The same of areas that are not laid. A stretch takes half a space more than its length in
    the mean, where spaces are rounded up, and one fastener more."""
    names = ["seam", "cross", "crossings", "fasteners"]
    if plan.estimate is None:
        return pd.DataFrame(0.0, range(n), names)
    areas = plan.estimate.areas.set_index("area_index")
    seam = areas["seam_m"]
    stretches = areas["seams"] + areas["cross_seams"]
    fasteners = seam / spacing_m + 1.5 * stretches
    columns = (seam, areas["cross_m"], areas["cross_seams"], fasteners)
    sums = pd.DataFrame(dict(zip(names, columns, strict=True)))
    return sums.reindex(range(n), fill_value=0.0)


def _fasteners(
    length_m: ArrayLike, spacing_m: float, closed: ArrayLike = False
) -> NDArray[np.float64]:
    """Both ends of an open run get one; a closed run ends where it starts."""
    ends: NDArray[np.float64] = 1 - np.asarray(closed, float)
    return units.whole_steps(length_m, spacing_m) + ends


def seam_m(rules: MaterialRules, edge_rules: EdgeRules) -> dict[str, tuple[float, float]]:
    """What a metre of seam takes: item -> (quantity with its allowance, size of a purchase unit),
    both SI."""
    bought_by = packages(rules)
    net = {"labour_seam": 1 / rules.rates.seam_m_per_h}
    if edge_rules.seam_method == "nails":
        nails = 1 / edge_rules.seam_spacing_m
        net |= {"seam_nails": nails, "labour_nail": nails / rules.rates.nails}
    else:
        net |= {"tape": 1.0, "adhesive": 1.0}
    return {
        key: (quantity * (1 + bought_by[key].allowance), bought_by[key].size)
        for key, quantity in net.items()
    }


def cross_seam(rules: MaterialRules) -> dict[str, tuple[float, float]]:
    """What a cross seam takes over and above its length, as `seam_m` tells it."""
    labour = packages(rules)["labour_seam"]
    return {"labour_seam": (rules.rates.cross_seam_h * (1 + labour.allowance), labour.size)}


def _nails(q: pd.DataFrame, edges: Edges) -> None:
    q["perimeter_nails"] = edges.totals["perimeter_fasteners"]
    q["field_nails"] = edges.totals["field_fasteners"]
    q["fastened"] = edges.totals["fastened_m"]


def _edged(q: pd.DataFrame, edges: Edges, kinds: Iterable[str]) -> NDArray[np.float64]:
    """Edges of some kinds along the slope; a border shared with the next area counts half for
    each."""
    runs = edges.runs[edges.runs["kind"].isin(kinds)]
    length = runs["laid_m"].to_numpy(float) / np.where(runs["kind"] == "shared", 2, 1)
    return np.bincount(runs["area_index"].astype(int), length, len(q)).astype(float)


def _irrigation(q: pd.DataFrame, areas: pd.DataFrame, lot: _Lots, rules: MaterialRules) -> None:
    told = lot.total(areas["caps"].notna().astype(int)) > 0
    watered = lot.total(~areas["irrigation"].str.casefold().isin(["none", "no"])) > 0
    q["caps_given"] = areas["caps"].fillna(0.0)
    dry = areas["irrigation"].str.casefold().isin(["none", "no"])
    by_ground = areas["ground_area_m2"] * ~dry / (rules.cap_covers_m2 or np.inf)
    by_site = lot.share(rules.caps_per_site) * watered
    q["caps_assumed"] = (by_site if rules.cap_covers_m2 is None else by_ground) * ~told
    q["rerouted"] = lot.share(rules.reroutes_per_site)
