"""The ordinance check: maximum applied water allowance (MAWA) against estimated total water use
(ETWU), in the form of 23 CCR 490-495; the numbers are the ordinance's (`rules.water.ordinance`).

A worksheet, row by row, of hydrozones (a site's areas of one cover under one irrigation method),
before and after the choice, with what the water balance of the comparison says each takes beside
the ordinance's estimate. A check of the arithmetic, no legal advice; a verdict only where
`place.holdings` finds that the ordinance holds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Cover, WaterRules
from geoturf.rules.water.ordinance import filled
from geoturf.water import published
from geoturf.water.climate import Months
from geoturf.water.demand import ORDINANCE_GALLONS, volume_factor
from geoturf.water.lawns import Lawns
from geoturf.water.place import Holding, Law
from geoturf.water.view import View

# EPA 2009 revised approach (nepis P1010FI8): 70 % of the peak month's reference use
PEAK_SHARE = 0.70
PEAK_RAIN_SHARE = 0.25  # of the peak month's rain, which the same takes off; from memory
_ZONE = ["site", "landscape", "cover", "irrigation", "special"]  # what makes a hydrozone
_ADDED_UP = ["area_m2", "special_m2", "regular_etaf_m2", "etwu_m3", "use_m3", "peak_m3"]

Areas = TypeVar("Areas", float, np.ndarray, pd.Series)


def allowance_m3(
    eto_m: Any,
    landscape_m2: Areas,
    special_m2: Areas,
    etaf: Areas,
    factor: float = volume_factor("ordinance"),
    special_etaf: float = 1.0,
) -> Areas:
    """MAWA = ETo c (ETAF LA + (s - ETAF) SLA), m3 a year; LA includes SLA (23 CCR 492.4, where the
    special areas' ETAF, s, is 1).
    ``eto_m``: year's ETo in metres (a number, or one an area), less effective rain where the
    ordinance takes it off. ``factor``: c as `volume_factor` has it."""
    depth_m = eto_m * factor
    allowed: Areas = depth_m * (etaf * landscape_m2 + (special_etaf - etaf) * special_m2)
    return allowed


def estimated_use_m3(
    eto_m: Any,
    plant_factor: Areas,
    efficiency: Areas,
    area_m2: Areas,
    factor: float = volume_factor("ordinance"),
) -> Areas:
    """ETWU of a hydrozone = ETo c (PF / IE) area, m3 a year (23 CCR 492.4); ``factor``: c."""
    used: Areas = eto_m * factor * plant_factor / efficiency * area_m2
    return used


def peak_month_allowance_m3(eto_m: np.ndarray, landscape_m2: Areas) -> Areas:
    """A second budget: 70 % of ETo x area in the month of most ETo, m3 in that month, by the exact
    constant (EPA 2009 revised approach)."""
    return PEAK_SHARE * float(np.max(eto_m)) * landscape_m2


@dataclass(frozen=True)
class Checked:
    """``sheet``, ``compliance`` and ``differences`` as `geoturf.model.Water` has them."""

    sheet: pd.DataFrame
    compliance: pd.DataFrame
    differences: pd.DataFrame


def checked(view: View, chosen: np.ndarray, held: Sequence[Holding]) -> Checked:
    """Every site by the ordinance that holds for it."""
    sheets = []
    verdicts = []
    steps = []
    for one in held:
        own = replace(view, rules=one.rules)
        sheet = worksheet(own, chosen)
        sheet = sheet[sheet["site"].isin(one.sites)].reset_index(drop=True)
        sheets.append(sheet)
        verdicts.append(compliance(sheet, view.months, one.rules, one.law))
        steps.append(_steps(sheet, own))
    sheet = _by_plan(sheets)
    every = pd.concat(steps, ignore_index=True)
    return Checked(sheet, _by_plan(verdicts), _differences(every, view, chosen))


def _by_plan(tables: list[pd.DataFrame]) -> pd.DataFrame:
    """Tables one after another, the existing plan of all first."""
    if len(tables) == 1:
        return tables[0]
    return pd.concat(tables).sort_values(
        "plan",
        ascending=False,
        kind="stable",
        ignore_index=True,
    )


def worksheet(view: View, chosen: np.ndarray) -> pd.DataFrame:
    """One row a hydrozone: plan (existing, chosen), site, landscape, hydrozone, cover, irrigation,
    special (bool), plant_factor (the year's, weighted by ETo), efficiency, etaf (PF / IE), area_m2,
    etaf_area_m2, etwu_m3, use_m3 (by the water balance, as in the comparison). Special landscape
    areas are judged at their own ETAF (where it is 1, their estimated use is ETo x area); covers
    that are not planted are left out."""
    landscape = landscapes(view.lawns, view.rules)
    frames = [_zones(view, choice, landscape).assign(plan=plan) for plan, choice in _plans(chosen)]
    sheet = pd.concat(frames, ignore_index=True)
    others = [column for column in sheet.columns if column != "plan"]
    return sheet[["plan", *others]]


def _plans(chosen: np.ndarray) -> tuple[tuple[str, np.ndarray], ...]:
    return ("existing", np.full(len(chosen), -1)), ("chosen", chosen)


def landscapes(lawns: Lawns, rules: WaterRules) -> pd.Series:
    """Kind of landscape of each area. Raises `BidError` for a kind that is not known."""
    kinds = published.adjustment_factors(rules)
    landscape = published.key(rules.ordinance.landscape)
    if landscape not in kinds:
        hint = published.closest(landscape, kinds)
        fault = f"water.ordinance.landscape: '{landscape}' is not known; {hint}"
        raise BidError(Finding("error", "unknown-landscape", fault))
    homes = _of_use(lawns, rules.ordinance.residential_uses)
    home_sites = set(lawns.areas["site"][homes])
    return lawns.areas["site"].isin(home_sites).map({True: "residential", False: landscape})


def _of_use(lawns: Lawns, uses: tuple[str, ...]) -> pd.Series:
    """Areas used for one of ``uses``, bool (n,)."""
    return lawns.areas["use"].str.lower().isin([use.lower() for use in uses])


def _zones(view: View, choice: np.ndarray, landscape: pd.Series) -> pd.DataFrame:
    """The hydrozones of one plan, as `worksheet` lists them."""
    lawns = view.lawns
    months = view.months
    rules = view.rules
    by_zone = _planted(view, choice, landscape).groupby(_ZONE, sort=False, as_index=False)
    zones = by_zone[["area_m2", "use_m3"]].sum()
    eto_m = _eto(months, rules, zones["site"])
    zones["plant_factor"] = _by_cover(lawns, months, zones, _year_factor)
    methods = dict(lawns.efficiencies)
    zones["efficiency"] = zones["irrigation"].map(methods).astype(float)
    special_etaf = filled(rules.ordinance).special_etaf
    factor = zones["plant_factor"].where(~zones["special"], special_etaf)
    efficiency = zones["efficiency"].where(~zones["special"], 1.0)
    zones["etaf"] = factor / efficiency
    zones["etaf_area_m2"] = zones["etaf"] * zones["area_m2"]
    scale = _scale(rules)
    zones["etwu_m3"] = estimated_use_m3(eto_m, factor, efficiency, zones["area_m2"], scale)
    zones["peak_m3"] = _peak_use_m3(lawns, months, zones)
    zones["hydrozone"] = zones.groupby("site").cumcount() + 1
    return zones


def _by_cover(
    lawns: Lawns, months: Months, zones: pd.DataFrame, figure: Callable[[Cover, Months], float]
) -> np.ndarray:
    """A figure of the cover of each hydrozone where it lies, worked out once for each of both."""
    known: dict[tuple[str, int], float] = {}
    out = np.zeros(len(zones))
    for row, (cover, site) in enumerate(zip(zones["cover"], zones["site"], strict=True)):
        own = months.of(site)
        kind = (cover, id(own))
        if kind not in known:
            known[kind] = figure(lawns.covers[cover], own)
        out[row] = known[kind]
    return out


def _by_place(months: Months, sites: pd.Series, figure: Callable[[Months], float]) -> np.ndarray:
    """A figure of the months of each of the sites named (m,)."""
    if not months.sites:
        return np.full(len(sites), figure(months))
    return np.array([figure(months.of(site)) for site in sites])


def _year_factor(cover: Cover, months: Months) -> float:
    """A cover's factor over the year, weighted by ETo."""
    return float(np.dot(cover.factor, months.eto_m / months.eto_m.sum()))


def _planted(view: View, choice: np.ndarray, landscape: pd.Series) -> pd.DataFrame:
    """The planted areas after a choice, one a row: what makes its hydrozone, area_m2, use_m3."""
    lawns = view.lawns
    cover = lawns.areas["cover"].copy()
    method = lawns.areas["irrigation"].copy()
    for j, conversion in enumerate(lawns.conversions):
        if conversion.cover:
            cover[choice == j] = published.key(conversion.cover)
        if conversion.irrigation:
            method[choice == j] = published.key(conversion.irrigation)
    by_use = _of_use(lawns, view.rules.ordinance.special_uses)
    by_cover = cover.map({name: known.special for name, known in lawns.covers.items()})
    planted = cover.map({name: known.planted for name, known in lawns.covers.items()})
    table = pd.DataFrame(
        {
            "site": lawns.areas["site"],
            "landscape": landscape,
            "cover": cover,
            "irrigation": method,
            "special": (by_use | by_cover).astype(bool),
            "area_m2": lawns.ground_m2,
            "use_m3": view.after_m3(choice).sum(axis=1),
        }
    )
    return table[planted.to_numpy(bool)]


def _peak_use_m3(lawns: Lawns, months: Months, zones: pd.DataFrame) -> pd.Series:
    """Use of hydrozones in the month of most ETo: (ETo x plant factor - a quarter of its rain) /
    efficiency x area (EPA 2009 revised approach; the quarter from memory), by the exact
    constant."""
    depth_m = _by_cover(lawns, months, zones, _peak_depth_m)
    use_m3: pd.Series = depth_m / zones["efficiency"] * zones["area_m2"]
    return use_m3


def _peak_depth_m(cover: Cover, months: Months) -> float:
    peak = int(months.eto_m.argmax())
    rain_m = PEAK_RAIN_SHARE * months.rain_m[peak]
    need_m = months.eto_m[peak] * cover.factor[peak]
    return max(0.0, float(need_m - rain_m))


def _scale(rules: WaterRules) -> float:
    """The ordinance's gallons from inches and square feet, over the exact ones."""
    said = filled(rules.ordinance)
    return volume_factor(said.constant, said.gallons or ORDINANCE_GALLONS)


def _eto(months: Months, rules: WaterRules, sites: pd.Series) -> np.ndarray:
    """The year's ETo of the sites named (m,), less the share of rain that the ordinance takes off,
    metres."""
    share = rules.ordinance.effective_rain_share

    def year_m(own: Months) -> float:
        return max(0.0, float(own.eto_m.sum() - share * own.rain_m.sum()))

    return _by_place(months, sites, year_m)


def differences(sheet: pd.DataFrame, view: View, chosen: np.ndarray) -> pd.DataFrame:
    """From the ordinance's estimate to the use of the comparison, one row a plan, m3: etwu_m3;
    then what is added on the way by special_m3 (special areas by their own plant factor and
    efficiency, not ETo x area), constant_m3 (gallons from inches as the comparison takes them),
    rain_m3 (rain counted as in the comparison); then planted_m3, and unplanted_m3 (rinse and
    cooling, which no ordinance counts); use_m3 is the comparison's."""
    return _differences(_steps(sheet, view), view, chosen)


def _steps(sheet: pd.DataFrame, view: View) -> pd.DataFrame:
    """The steps of each hydrozone of a ``sheet``, and its plan."""
    rules = view.rules
    eto_m = _eto(view.months, rules, sheet["site"])
    scale = _scale(rules)
    factor = sheet["plant_factor"]
    efficiency = sheet["efficiency"]
    area = sheet["area_m2"]
    own = estimated_use_m3(eto_m, factor, efficiency, area, scale)
    rescaled = own * volume_factor(rules.constant) / scale
    return pd.DataFrame(
        {
            "plan": sheet["plan"],
            "etwu_m3": sheet["etwu_m3"],
            "special_m3": own - sheet["etwu_m3"],
            "constant_m3": rescaled - own,
            "rain_m3": sheet["use_m3"] - rescaled,
            "planted_m3": sheet["use_m3"],
        }
    )


def _differences(steps: pd.DataFrame, view: View, chosen: np.ndarray) -> pd.DataFrame:
    """Sums of the steps, a row a plan."""
    rows = []
    for plan, choice in _plans(chosen):
        own = steps[steps["plan"] == plan].drop(columns="plan")
        sums = {str(name): float(values.sum()) for name, values in own.items()}
        used = float(view.after_m3(choice).sum())
        unplanted = used - sums["planted_m3"]
        rows.append(
            {
                "plan": plan,
                **sums,
                "unplanted_m3": unplanted,
                "use_m3": used,
            }
        )
    return pd.DataFrame(rows)


def compliance(sheet: pd.DataFrame, months: Months, rules: WaterRules, law: Law) -> pd.DataFrame:
    """One row a plan and site: landscape, etaf (the allowance's), landscape_m2, special_m2,
    mawa_m3, etwu_m3, use_m3 (by the water balance), margin_m3 (MAWA - ETWU), complies (bool; None
    where no law judges), mean_etaf (ETWU's, of what is not special); and of the month of most ETo
    alone peak_m3 (use) and peak_allowance_m3."""
    factors = published.adjustment_factors(rules)
    sheet = sheet.assign(
        special_m2=sheet["area_m2"].where(sheet["special"], 0.0),
        regular_etaf_m2=sheet["etaf_area_m2"].where(~sheet["special"], 0.0),
    )
    sums = sheet.groupby(["plan", "site", "landscape"], sort=False, as_index=False)[_ADDED_UP].sum()
    sums = sums.rename(columns={"area_m2": "landscape_m2"})
    sums["etaf"] = sums["landscape"].map(factors)
    landscape = sums["landscape_m2"]
    special = sums["special_m2"]
    etaf = sums["etaf"]
    eto_m = _eto(months, rules, sums["site"])
    special_etaf = filled(rules.ordinance).special_etaf
    sums["mawa_m3"] = allowance_m3(
        eto_m, landscape, special, etaf, _scale(rules), float(special_etaf or 1)
    )
    peak_m = _by_place(months, sums["site"], lambda own: peak_month_allowance_m3(own.eto_m, 1.0))
    sums["peak_allowance_m3"] = peak_m * landscape
    sums["margin_m3"] = sums["mawa_m3"] - sums["etwu_m3"]
    sums["complies"] = (sums["margin_m3"] >= -1e-9 * sums["mawa_m3"]) if law.judges else None
    regular = landscape - special
    some = regular > 0
    sums["mean_etaf"] = (sums["regular_etaf_m2"] / regular.where(some, 1.0)).where(some)
    return sums.drop(columns="regular_etaf_m2")
