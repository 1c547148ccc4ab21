"""The ordinance check: maximum applied water allowance (MAWA) against estimated total water use (ETWU), 23 CCR 490-495.

A worksheet, row by row, of hydrozones (a site's areas of one cover under one irrigation method), before and after the
choice, with what the water balance of the comparison says each takes beside the ordinance's estimate. A check of the
arithmetic, no legal advice; a verdict only where `place.law` finds that the ordinance holds.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import WaterRules
from geoturf.water import published
from geoturf.water.climate import Months
from geoturf.water.demand import volume_factor
from geoturf.water.lawns import Lawns
from geoturf.water.place import Law
from geoturf.water.view import View

PEAK_SHARE = 0.70  # EPA 2009 revised approach (nepis P1010FI8): 70 % of the peak month's reference use


def allowance_m3(eto_m: float, landscape_m2, special_m2, etaf, constant: str = "ordinance"):
    """MAWA = ETo 0.62 (ETAF LA + (1 - ETAF) SLA), m3 a year; LA includes SLA (23 CCR 492.4). ``eto_m``: year's ETo in
    metres, less effective rain where the ordinance takes it off."""
    return eto_m * volume_factor(constant) * (etaf * landscape_m2 + (1 - etaf) * special_m2)


def estimated_use_m3(eto_m: float, plant_factor, efficiency, area_m2, constant: str = "ordinance"):
    """ETWU of a hydrozone = ETo 0.62 (PF / IE) area, m3 a year (23 CCR 492.4)."""
    return eto_m * volume_factor(constant) * plant_factor / efficiency * area_m2


def peak_month_allowance_m3(eto_m: np.ndarray, landscape_m2):
    """A second budget: 70 % of ETo x area in the month of most ETo, m3 in that month, by the exact constant (EPA 2009
    revised approach)."""
    return PEAK_SHARE * float(np.max(eto_m)) * landscape_m2


def worksheet(view: View, chosen: np.ndarray) -> pd.DataFrame:
    """One row a hydrozone: plan (existing, chosen), site, landscape, hydrozone, cover, irrigation, special (bool),
    plant_factor (the year's, weighted by ETo), efficiency, etaf (PF / IE), area_m2, etaf_area_m2, etwu_m3, use_m3 (by the
    water balance, as in the comparison). Special landscape areas are judged at ETAF 1 (their estimated use is ETo x
    area); covers that are not planted are left out."""
    landscape = landscapes(view.lawns, view.rules)
    frames = [_zones(view, choice, landscape).assign(plan=plan) for plan, choice in _plans(chosen)]
    sheet = pd.concat(frames, ignore_index=True)
    return sheet[["plan", *[c for c in sheet.columns if c != "plan"]]]


def _plans(chosen: np.ndarray) -> tuple[tuple[str, np.ndarray], ...]:
    return ("existing", np.full(len(chosen), -1)), ("chosen", chosen)


def landscapes(lawns: Lawns, rules: WaterRules) -> pd.Series:
    """Kind of landscape of each area. Raises `BidError` for a kind that is not known."""
    kinds = published.adjustment_factors(rules)
    landscape = published.key(rules.ordinance.landscape)
    if landscape not in kinds:
        hint = published.closest(landscape, kinds)
        raise BidError(
            Finding("error", "unknown-landscape", f"water.ordinance.landscape: '{landscape}' is not known; {hint}")
        )
    homes = lawns.areas["use"].str.lower().isin([use.lower() for use in rules.ordinance.residential_uses])
    home_sites = set(lawns.areas["site"][homes])
    return lawns.areas["site"].isin(home_sites).map({True: "residential", False: landscape})


def _zones(view: View, choice: np.ndarray, landscape: pd.Series) -> pd.DataFrame:
    lawns, months, rules = view.lawns, view.months, view.rules
    cover, method = lawns.areas["cover"].copy(), lawns.areas["irrigation"].copy()
    for j, conversion in enumerate(lawns.conversions):
        if conversion.cover:
            cover[choice == j] = published.key(conversion.cover)
        if conversion.irrigation:
            method[choice == j] = published.key(conversion.irrigation)
    special_use = lawns.areas["use"].str.lower().isin([use.lower() for use in rules.ordinance.special_uses])
    special = special_use | cover.map({name: c.special for name, c in lawns.covers.items()})
    planted = cover.map({name: c.planted for name, c in lawns.covers.items()})
    table = pd.DataFrame(
        {
            "site": lawns.areas["site"],
            "landscape": landscape,
            "cover": cover,
            "irrigation": method,
            "special": special.astype(bool),
            "area_m2": lawns.ground_m2,
            "use_m3": view.after_m3(choice).sum(axis=1),
        }
    )[planted.to_numpy(bool)]
    keys = ["site", "landscape", "cover", "irrigation", "special"]
    zones = table.groupby(keys, sort=False, as_index=False)[["area_m2", "use_m3"]].sum()
    eto_m = _eto(months, rules)
    weight = months.eto_m / months.eto_m.sum()
    zones["plant_factor"] = zones["cover"].map({n: float(np.dot(c.factor, weight)) for n, c in lawns.covers.items()})
    zones["efficiency"] = zones["irrigation"].map(dict(lawns.efficiencies))
    factor, efficiency = (np.where(zones["special"], 1.0, zones[name]) for name in ("plant_factor", "efficiency"))
    zones["etaf"] = factor / efficiency
    zones["etaf_area_m2"] = zones["etaf"] * zones["area_m2"]
    zones["etwu_m3"] = estimated_use_m3(eto_m, factor, efficiency, zones["area_m2"], rules.ordinance.constant)
    zones["peak_m3"] = _peak_use_m3(lawns, months, zones)
    zones["hydrozone"] = zones.groupby("site").cumcount() + 1
    return zones


def _peak_use_m3(lawns: Lawns, months: Months, zones: pd.DataFrame) -> pd.Series:
    """Use of hydrozones in the month of most ETo: (ETo x plant factor - a quarter of its rain) / efficiency x area (EPA
    2009 revised approach; the quarter from memory), by the exact constant."""
    peak = int(months.eto_m.argmax())
    factor = zones["cover"].map({name: cover.factor[peak] for name, cover in lawns.covers.items()}).astype(float)
    depth = (months.eto_m[peak] * factor - 0.25 * months.rain_m[peak]).clip(lower=0.0)
    return depth / zones["efficiency"] * zones["area_m2"]


def _eto(months: Months, rules: WaterRules) -> float:
    """The year's ETo less the share of rain that the ordinance takes off, metres."""
    return max(0.0, float(months.eto_m.sum() - rules.ordinance.effective_rain_share * months.rain_m.sum()))


def differences(sheet: pd.DataFrame, view: View, chosen: np.ndarray) -> pd.DataFrame:
    """From the ordinance's estimate to the use of the comparison, one row a plan, m3: etwu_m3; then what is added on the way
    by special_m3 (special areas by their own plant factor and efficiency, not ETo x area), constant_m3 (gallons from
    inches as the comparison takes them), rain_m3 (rain counted as in the comparison); then planted_m3, and unplanted_m3
    (rinse and cooling, which no ordinance counts); use_m3 is the comparison's."""
    rules = view.rules
    eto_m, constant = _eto(view.months, rules), rules.ordinance.constant
    own = estimated_use_m3(eto_m, sheet["plant_factor"], sheet["efficiency"], sheet["area_m2"], constant)
    rescaled = own * volume_factor(rules.constant) / volume_factor(constant)
    steps = {"etwu_m3": sheet["etwu_m3"], "special_m3": own - sheet["etwu_m3"], "constant_m3": rescaled - own}
    steps |= {"rain_m3": sheet["use_m3"] - rescaled, "planted_m3": sheet["use_m3"]}
    rows = []
    for plan, choice in _plans(chosen):
        at, used = sheet["plan"] == plan, float(view.after_m3(choice).sum())
        row = {"plan": plan} | {name: float(values[at].sum()) for name, values in steps.items()}
        rows.append(row | {"unplanted_m3": used - row["planted_m3"], "use_m3": used})
    return pd.DataFrame(rows)


def compliance(sheet: pd.DataFrame, months: Months, rules: WaterRules, law: Law) -> pd.DataFrame:
    """One row a plan and site: landscape, etaf (the allowance's), landscape_m2, special_m2, mawa_m3, etwu_m3, use_m3 (by the
    water balance), margin_m3 (MAWA - ETWU), complies (bool; None where no law judges), mean_etaf (ETWU's, of what is not
    special); and of the month of most ETo alone peak_m3 (use) and peak_allowance_m3."""
    factors = published.adjustment_factors(rules)
    sheet = sheet.assign(
        special_m2=sheet["area_m2"].where(sheet["special"], 0.0),
        regular_etaf_m2=sheet["etaf_area_m2"].where(~sheet["special"], 0.0),
    )
    sums = sheet.groupby(["plan", "site", "landscape"], sort=False, as_index=False)[
        ["area_m2", "special_m2", "regular_etaf_m2", "etwu_m3", "use_m3", "peak_m3"]
    ].sum()
    sums = sums.rename(columns={"area_m2": "landscape_m2"})
    sums["etaf"] = sums["landscape"].map(factors)
    sums["mawa_m3"] = allowance_m3(
        _eto(months, rules), sums["landscape_m2"], sums["special_m2"], sums["etaf"], rules.ordinance.constant
    )
    sums["peak_allowance_m3"] = peak_month_allowance_m3(months.eto_m, sums["landscape_m2"])
    sums["margin_m3"] = sums["mawa_m3"] - sums["etwu_m3"]
    sums["complies"] = (sums["margin_m3"] >= -1e-9 * sums["mawa_m3"]) if law.judges else None
    regular = sums["landscape_m2"] - sums["special_m2"]
    sums["mean_etaf"] = np.where(regular > 0, sums["regular_etaf_m2"] / np.where(regular > 0, regular, 1.0), np.nan)
    return sums.drop(columns="regular_etaf_m2")
