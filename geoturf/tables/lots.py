"""Tables of what stands on the ground: areas, sites, house plans, what was taken out, water."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoturf import columns
from geoturf.model import ESTIMATED, Result, kept_columns
from geoturf.records import Column
from geoturf.risk import survey_sigma
from geoturf.staying import everywhere
from geoturf.tables.making import waste_pct, with_kept, words_of_sites


def areas(result: Result) -> pd.DataFrame:
    """All areas, those without turf too."""
    result = everywhere(result)
    land = result.ground.areas
    border = result.edges.totals
    chosen = result.plan.chosen
    as_given = ("site", "area", "phase", "product", "use", "file", "layer", "feature")
    edges = ("edge_paving", "edge_building", "edge_shared", "edge_open")
    counts = ("perimeter_fasteners", "field_fasteners")
    values: dict[str, Column] = {name: land[name] for name in as_given}
    values |= {
        "pile_bearing_deg": chosen["pile_bearing_deg"],
        "slope_pct": land["slope_pct"].fillna(0),
        "elevation": land["elevation_m"],
        "plan_area": land["plan_area_m2"],
        "ground_area": land["ground_area_m2"],
        "surface_area": land["surface_area_m2"],
        "area_tolerance": land["area_tolerance_m2"],
        "perimeter": land["perimeter_m"],
    }
    values |= {name: border[f"{name}_m"] for name in edges} | {
        name: border[name] for name in counts
    }
    values |= {
        "seam_fasteners": result.takeoff.areas["seam_fasteners"],
        "seam": chosen["seam_m"],
        "cross_seams": np.rint(chosen["cross_seams"].to_numpy(float)),
        "pieces": chosen["pieces"],
        "piece_area": chosen["piece_area_m2"],
        "turf_bought": chosen["turf_bought_m2"],
        "waste_pct": waste_pct(chosen["turf_bought_m2"], under_turf_m2(result)),
        "fixed_bearing_pct": 100 * (chosen["free_cost_ratio"].to_numpy() - 1),
        "price": result.price.areas["price"],
    }
    values |= _where_given(land, border)
    if result.bid.books:
        values["price_book"] = land["price_book"]
    if result.plan.estimate is not None:
        values["turf"] = _how(land["estimated"], chosen["turf_bought_m2"])
        values["turf_sigma"] = chosen["sigma_m2"]
    return with_kept(columns.table_of("areas", result.bid.units, values), land)


def _where_given(land: pd.DataFrame, border: pd.DataFrame) -> dict[str, Column]:
    """Columns that stand where the input has what they tell."""
    depths = {name: f"{name}_m" for name in ("dig_depth", "base_depth")}
    given = {name: land[column] for name, column in depths.items() if column in land}
    found: dict[str, Column] = {}
    found |= {name: values for name, values in given.items() if values.notna().any()}
    along = {name: f"{name}_m" for name in ("edge_fence", "edge_planter")}
    lengths = {name: border[column] for name, column in along.items() if column in border}
    found |= {name: length for name, length in lengths.items() if (length > 0).any()}
    return found


def under_turf_m2(result: Result) -> np.ndarray:
    """Surface of each area as far as turf is laid on it: 0 where it stays as it is."""
    laid = result.plan.chosen["turf_bought_m2"].to_numpy(float) > 0
    return np.where(laid, result.ground.areas["surface_area_m2"].to_numpy(float), 0.0)


def sites(result: Result) -> pd.DataFrame:
    """All sites, those without turf too."""
    result = everywhere(result)
    by_site = _by_site(result)
    money = result.price.sites.set_index("site").reindex(by_site.index)
    values: dict[str, Column] = {
        "site": by_site.index,
        "phase": by_site["phase"],
        "areas": by_site["areas"],
        "ground_area": by_site["ground_area_m2"],
        "surface_area": by_site["surface_area_m2"],
        "perimeter": by_site["perimeter_m"],
        "seam": by_site["seam_m"],
        "pieces": by_site["pieces"],
        "turf_bought": by_site["turf_bought_m2"],
        "waste_pct": waste_pct(by_site["turf_bought_m2"], by_site["under_turf_m2"]),
        "cost": money["cost"],
        "price": money["price"],
        "area_tolerance": np.sqrt(by_site["area_variance"]),
        "price_tolerance": np.sqrt(by_site["price_variance"]),
    }
    if result.by_plan is not None:
        values["plan"] = by_site["plan"]
    if result.plan.estimate is not None:
        values["turf"] = _how(by_site["estimated"], by_site["turf_bought_m2"])
        values["turf_sigma"] = np.sqrt(by_site["turf_variance"])
    return with_kept(columns.table_of("sites", result.bid.units, values), by_site)


def _how(estimated: pd.Series, bought_m2: pd.Series) -> np.ndarray:
    """Whether the turf of areas or sites is laid or estimated; "" where there is none."""
    told = np.where(estimated.to_numpy(bool), ESTIMATED, "laid")
    return np.where(bought_m2.to_numpy(float) > 0, told, "")


def _by_site(result: Result) -> pd.DataFrame:
    """Sites in the order of their first area."""
    land = result.ground.areas
    chosen = result.plan.chosen
    sums = ["ground_area_m2", "surface_area_m2", "perimeter_m"]
    all_columns = pd.concat(
        [land[["site", "phase", *sums]], chosen[["seam_m", "pieces", "turf_bought_m2"]]], axis=1
    )
    grouped = all_columns.groupby("site", sort=False)
    out = grouped[[*sums, "seam_m", "pieces", "turf_bought_m2"]].sum()
    out["areas"] = grouped.size()
    out["under_turf_m2"] = pd.Series(under_turf_m2(result)).groupby(land["site"], sort=False).sum()
    sigma = pd.DataFrame(
        {
            "area_variance": land["area_tolerance_m2"] ** 2,
            "price_variance": price_sigma(result) ** 2,
        }
    )
    if result.plan.estimate is not None:
        out["estimated"] = land.groupby("site", sort=False)["estimated"].any()
        sigma["turf_variance"] = chosen["sigma_m2"] ** 2
    out[sigma.columns] = sigma.groupby(land["site"], sort=False).sum()
    for name in ("phase", *kept_columns(land)):
        out[name] = words_of_sites(land["site"], land[name])
    if "plan" in land:
        out["plan"] = land.groupby("site", sort=False)["plan"].first()
    return out


def price_sigma(result: Result) -> np.ndarray:
    """One sigma of each area's price from the source's positional accuracy: its price in proportion
    to its ground."""
    return survey_sigma(result.ground, result.price)


def plans(result: Result) -> pd.DataFrame:
    """What the lots of each house plan take and cost; those of none last."""
    rows = result.by_plan
    if rows is None:
        raise ValueError("no lot is of a house plan")
    plain = ("plan", "lots", "areas", "pieces", "price_each", "price", "price_least", "price_most")
    values: dict[str, Column] = {name: rows[name] for name in (*plain, "differences")}
    values |= {
        "ground_area": rows["ground_area_m2"],
        "turf_bought": rows["turf_bought_m2"],
        "seam": rows["seam_m"],
    }
    return columns.table_of("plans", result.bid.units, values)


def taken(result: Result) -> pd.DataFrame:
    rows = result.ground.taken
    values: dict[str, Column] = {name: rows[name] for name in ("site", "area", "reason")}
    return columns.table_of("taken", result.bid.units, values | {"taken": rows["area_m2"]})


def water(result: Result, only_chosen: bool = False) -> pd.DataFrame:
    """Every conversion of every area, or those alone that are chosen."""
    if result.water is None:
        raise ValueError("no water is compared")
    rows = result.water.table
    if only_chosen:
        rows = rows[rows["chosen"].to_numpy(bool)]
    plain = ("site", "area", "conversion", "capital", "rebate", "payback_years", "npv")
    values: dict[str, Column] = {name: rows[name] for name in plain}
    values |= {name: rows[f"{name}_m3"] for name in ("baseline", "use", "saved")}
    values |= {"cost_per": rows["cost_per_m3"], "chosen": np.where(rows["chosen"], "yes", "no")}
    return columns.table_of("water", result.bid.units, values)
