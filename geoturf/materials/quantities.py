"""What each area takes, net: whole columns, all of them additive over areas, so that any pool is a plain sum.

Columns carry the keys of `geoturf.rules.items.ITEMS` and the helpers their formulas name. SI throughout.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from geoturf import data, units
from geoturf.materials.packages import sizes_and_allowances
from geoturf.materials.strips import strips
from geoturf.model import CutPlan, Edges, Ground
from geoturf.rules import EdgeRules, MaterialRules, Product
from geoturf.rules.items import RUNS_WITH, idle, together

#: infill by pile weight (common practice): pile weight, low and high rate; between, linear; outside, the nearer end
INFILL = tuple(
    (units.read(pile, "mass per area"), units.read(low, "mass per area"), units.read(high, "mass per area"))
    for pile, low, high in (("60 oz/yd^2", "1 lb/ft^2", "2 lb/ft^2"), ("80 oz/yd^2", "0.5 lb/ft^2", "1 lb/ft^2"))
)

#: values of the column use that ask for odour-control granules
PET_USES = ("pet", "pets")


def infill_rate(product: Product, rules: MaterialRules) -> tuple[float, float, float]:
    """Low, middle and high infill of a product, kg/m2; a short putting pile takes what a 60 oz/yd2 pile does."""
    if product.infill == "none":
        return 0.0, 0.0, 0.0
    pile, low, high = np.array(INFILL).T
    weight = pile[0] if product.putting else product.pile_weight_kg_per_m2
    ends = float(np.interp(weight, pile, low)), float(np.interp(weight, pile, high))
    middle = rules.infill_rate_kg_per_m2 if rules.infill_rate_kg_per_m2 is not None else sum(ends) / 2
    return ends[0], middle, ends[1]


def for_pets(areas: pd.DataFrame, products: Mapping[str, Product]) -> pd.Series:
    """Areas that get odour-control granules: by their turf, or by their use."""
    pets = areas["product"].map({name: p.pets for name, p in products.items()}).astype(bool)
    return pets | areas["use"].str.casefold().isin(PET_USES)


def densities(rules: MaterialRules) -> tuple[float, float]:
    """Dry density of the base stone, compacted and in the truck, kg/m3."""
    compacted, loose = rules.compacted_density_kg_per_m3, rules.loose_density_kg_per_m3
    return (
        data.value("aggregate", rules.aggregate, "compacted") if compacted is None else compacted,
        data.value("aggregate", rules.aggregate, "loose") if loose is None else loose,
    )


def swell_factor(rules: MaterialRules) -> float:
    """Loose volume over volume in place."""
    return data.value("swell", rules.soil, "bank to loose") if rules.swell is None else 1 + rules.swell


def per_area(
    ground: Ground,
    edges: Edges,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
) -> pd.DataFrame:
    """Areas-aligned net quantities of every item, and the helpers of their formulas."""
    areas = ground.areas
    lot = _Lots(areas)
    q = pd.DataFrame({"surface": areas["surface_area_m2"]})
    nailed = areas["product"].map({name: p.fixing == "nail" for name, p in products.items()}).astype(float)
    q["base"], q["glued"] = q["surface"] * nailed, q["surface"] * (1 - nailed)
    q["sites"] = lot.share(1.0)
    _earth(q, areas["ground_area_m2"] * nailed, lot, rules)
    _stone(q, rules)
    _fabric(q, areas, nailed, rules)
    _turf(q, areas, plan, products, rules)
    _seams(q, edges, plan, nailed, edge_rules)
    _nails(q, edges)
    _edging_along(q, edges, edge_rules.edging_on, rules)
    _irrigation(q, areas, lot, rules)
    _none_of(q, together(rules.leave_out))
    _work(q, rules)
    _none_of(q, idle(rules.leave_out))
    _plant(q)
    _none_of(q, rules.leave_out)
    return q.astype(float)


def _none_of(q: pd.DataFrame, keys: Iterable[str]) -> None:
    """Items that are left to others."""
    q[list(keys)] = 0.0


class _Lots:
    """Sites: what is counted once a site is shared among its areas by surface, so that sums over any pool stay whole."""

    def __init__(self, areas: pd.DataFrame):
        self.number = areas.groupby(["phase", "site"], sort=False).ngroup()
        weight = areas["surface_area_m2"].clip(lower=1e-9)
        self.weight = weight / weight.groupby(self.number).transform("sum")

    def total(self, column: pd.Series) -> pd.Series:
        return column.groupby(self.number).transform("sum")

    def share(self, a_site: pd.Series | float) -> pd.Series:
        return self.weight * a_site


def _earth(q: pd.DataFrame, dug: pd.Series, lot: _Lots, rules: MaterialRules) -> None:
    q["dug"] = dug
    q["dig"] = dug * rules.dig_depth_m
    q["disposal"] = q["dig"] * swell_factor(rules)
    loose = lot.total(q["disposal"])
    loads = np.ceil(loose / rules.truck_m3 - 1e-6).clip(lower=0)
    q["haul"] = (q["disposal"] / loose.where(loose > 0) * loads).fillna(0.0)


def _stone(q: pd.DataFrame, rules: MaterialRules) -> None:
    compacted, loose = densities(rules)
    q["compacted"] = q["base"] * rules.base_depth_m
    q["aggregate"] = q["compacted"] * compacted * (1 + rules.moisture)
    q["aggregate_loose"] = q["compacted"] * compacted / loose


def _fabric(q: pd.DataFrame, areas: pd.DataFrame, nailed: pd.Series, rules: MaterialRules) -> None:
    _strips(q, "fabric", "fabric", areas, nailed * rules.fabric > 0, rules)
    _strips(q, "geotextile", "below", areas, nailed * rules.fabric_below_base > 0, rules)
    q["fabric_laid"] = q["base"] * rules.fabric
    q["fabric_nails"] = np.ceil(q["fabric_laid"] / rules.fabric_spacing_m**2 - 1e-6).clip(lower=0)


def _strips(q: pd.DataFrame, key: str, short: str, areas: pd.DataFrame, laid: pd.Series, rules: MaterialRules) -> None:
    """Columns ``key`` (m2), ``<short>_strips`` and ``<short>_length`` of a fabric, where it is ``laid``."""
    width, length = (getattr(rules, f"{short}_roll_{name}_m") for name in ("width", "length"))
    overlap = rules.lap_below_m() if short == "below" else rules.fabric_overlap_m
    q[[f"{short}_strips", f"{short}_length"]] = 0.0
    if laid.any():
        found = strips(areas.loc[laid, "laid"].to_numpy(), width, length, overlap)
        q.loc[laid, [f"{short}_strips", f"{short}_length"]] = found.to_numpy(float)
    q[key] = q[f"{short}_length"] * width


def _turf(
    q: pd.DataFrame, areas: pd.DataFrame, plan: CutPlan, products: Mapping[str, Product], rules: MaterialRules
) -> None:
    q["turf"] = plan.chosen["turf_bought_m2"]
    q["pets"] = q["surface"] * for_pets(areas, products)
    q["odour"] = q["pets"] * rules.odour_rate_kg_per_m2
    rates = {name: infill_rate(p, rules) for name, p in products.items()}
    for place, column in enumerate(("low", "middle", "high")):
        q[f"infill_{column}"] = q["surface"] * areas["product"].map({name: rate[place] for name, rate in rates.items()})
    q["infill"] = q.pop("infill_middle")
    q["filled"] = q["surface"] * (q["infill"] > 0)


def _seams(q: pd.DataFrame, edges: Edges, plan: CutPlan, nailed: pd.Series, edge_rules: EdgeRules) -> None:
    """Seams inside areas, and half of each border shared with the next area (the other half is the neighbour's)."""
    n, spacing = len(q), edge_rules.seam_spacing_m
    runs = edges.runs[edges.runs["kind"] == "shared"]
    q["shared"] = np.bincount(runs["area_index"].astype(int), runs["laid_m"] / 2, n)
    cross = plan.seams["kind"].eq("cross")
    q["cross"] = np.bincount(plan.seams["area_index"].astype(int), plan.seams["length_m"] * cross, n)
    q["seam"] = np.bincount(plan.seams["area_index"].astype(int), plan.seams["length_m"], n) + q["shared"]
    by_nails = nailed * (edge_rules.seam_method == "nails")
    q["tape"] = q["adhesive"] = q["seam"] * (1 - by_nails)
    counts = np.bincount(plan.seams["area_index"].astype(int), _fasteners(plan.seams["length_m"], spacing), n)
    halves = np.bincount(runs["area_index"].astype(int), _fasteners(runs["laid_m"], spacing, runs["closed"]) / 2, n)
    q["seam_nails"] = q["seam_fasteners"] = (counts + halves) * by_nails


def _fasteners(length_m: pd.Series, spacing_m: float, closed: pd.Series | bool = False) -> pd.Series:
    """Both ends of an open run get one; a closed run ends where it starts."""
    return np.ceil(length_m / spacing_m - 1e-6) + (1 - np.asarray(closed, float))


def seam_m(rules: MaterialRules, edge_rules: EdgeRules) -> dict[str, tuple[float, float]]:
    """What a metre of seam takes: item -> (quantity with its allowance, size of a purchase unit), both SI."""
    packages = sizes_and_allowances(rules)
    net = {"labour_seam": 1 / rules.rates.seam_m_per_h}
    if edge_rules.seam_method == "nails":
        nails = 1 / edge_rules.seam_spacing_m
        net |= {"seam_nails": nails, "labour_nail": nails / rules.rates.nails}
    else:
        net |= {"tape": 1.0, "adhesive": 1.0}
    return {key: (quantity * (1 + packages[key][1]), packages[key][0]) for key, quantity in net.items()}


def _nails(q: pd.DataFrame, edges: Edges) -> None:
    q["perimeter_nails"] = edges.totals["perimeter_fasteners"]
    q["field_nails"] = edges.totals["field_fasteners"]
    q["fastened"] = edges.totals["fastened_m"]
    q["nails"] = q["perimeter_nails"] + q["field_nails"]
    q["glue"] = q["glued"]


def _edging_along(q: pd.DataFrame, edges: Edges, kinds: Iterable[str], rules: MaterialRules) -> None:
    """Along the slope; a border shared with the next area counts half for each."""
    runs = edges.runs[edges.runs["kind"].isin(kinds)]
    board = runs["laid_m"] / np.where(runs["kind"] == "shared", 2, 1)
    q["edging"] = np.bincount(runs["area_index"].astype(int), board, len(q))
    q["stakes"] = _fasteners(q["edging"], rules.stake_spacing_m).where(q["edging"] > 0, 0.0)


def _irrigation(q: pd.DataFrame, areas: pd.DataFrame, lot: _Lots, rules: MaterialRules) -> None:
    told = lot.total(areas["caps"].notna().astype(int)) > 0
    watered = lot.total(~areas["irrigation"].str.casefold().isin(["none", "no"])) > 0
    q["caps_given"] = areas["caps"].fillna(0.0)
    q["caps_assumed"] = lot.share(rules.caps_per_site) * (~told & watered)
    q["caps"] = q["caps_given"] + q["caps_assumed"]
    q["reroutes"] = lot.share(rules.reroutes_per_site)


def _work(q: pd.DataFrame, rules: MaterialRules) -> None:
    """Crew-hours by task."""
    rates = rules.rates
    lifts = np.ceil(rules.base_depth_m / rules.lift_m - 1e-6)
    q["all_nails"] = q["nails"] + q["seam_nails"]
    q["fabric_all"] = q["fabric"] + q["geotextile"]
    q["all_caps"] = q["caps"] + q["reroutes"]
    q["labour_setup"] = q["sites"] * rates.setup_h
    q["labour_dig"] = q["dig"] / rates.dig_m3_per_h
    q["labour_base"] = q["base"] * lifts / rates.base_m2_per_h
    q["labour_fabric"] = q["fabric_all"] / rates.fabric_m2_per_h
    q["labour_turf"] = q["surface"] / rates.turf_m2_per_h
    q["labour_seam"] = q["seam"] / rates.seam_m_per_h
    q["labour_nail"] = q["all_nails"] / rates.nails
    q["labour_glue"] = q["glued"] / rates.glue_m2_per_h
    q["labour_edging"] = q["edging"] / rates.edging_m_per_h
    q["labour_infill"] = q["filled"] / rates.infill_m2_per_h
    q["labour_caps"] = q["all_caps"] / rates.caps


def _plant(q: pd.DataFrame) -> None:
    """Plant runs while its task does."""
    for machine, task in RUNS_WITH.items():
        q[machine] = q[f"labour_{task}"]
