"""Water use by month, before and after each conversion.

A lawn takes max(0, ETo x factor - effective rain) / irrigation efficiency: it covers the ground,
and what falls on it is its own. Planting by a plant factor takes max(0, ETo - effective rain) x
factor / efficiency, as 23 CCR 492.4 takes rain off ETo: plants that take a fifth of ETo catch a
fifth of the rain. Rinse and cooling water is stated as applied and added.

Depths in metres, volumes in cubic metres; arrays end in twelve months, January first.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from geoturf import units
from geoturf.rules.water import Climate, Conversion, WaterRules
from geoturf.rules.water.ordinance import FORM, shipped
from geoturf.water import published
from geoturf.water.bills import calibration, metered_m3
from geoturf.water.climate import Months
from geoturf.water.lawns import Lawns, site_numbers
from geoturf.water.rain import effective_rain_m

EXACT_GALLONS = units.GALLONS_IN_FT2_INCH
ORDINANCE_GALLONS = float(shipped(FORM).gallons or 0)  # the same, as 23 CCR 492.4 rounds it
RAIN_METHODS = ("none", "scs", "fao", "tr21")  # of counting rain, tried beside the bid's own
INPUTS = ("eto", "rain", "rain_method", "efficiency", "price", "capital", "upkeep", "rinse")


@dataclass(frozen=True)
class Case:
    """Factors on the inputs: 1 is the middle case. ``efficiency`` is that of the existing
    irrigation; ``rain_method`` how rain is counted, the bid's way if empty."""

    eto: float = 1.0
    rain: float = 1.0
    rain_method: str = ""
    efficiency: float = 1.0
    price: float = 1.0
    capital: float = 1.0
    upkeep: float = 1.0
    rinse: float = 1.0


MIDDLE = Case()


@dataclass(frozen=True)
class Use:
    """``before_m3``: (n, 12), by the meter where there is one. ``after_m3``: (n, k, 12), once
    plants are established.
    ``modelled_m3``: (n, 12), before, by the formula. ``establishing_m3``: (n, k), what is taken
    over ``after_m3`` in a year until then."""

    before_m3: np.ndarray
    after_m3: np.ndarray
    modelled_m3: np.ndarray
    establishing_m3: np.ndarray

    @property
    def saved_m3(self) -> np.ndarray:
        """(n, k, 12); negative where a conversion takes more."""
        saved: np.ndarray = self.before_m3[:, None, :] - self.after_m3
        return saved

    @cached_property
    def saved_a_year_m3(self) -> np.ndarray:
        """(n, k)."""
        return np.asarray(self.saved_m3.sum(axis=2))


def volume_factor(constant: str, rounded: float = ORDINANCE_GALLONS) -> float:
    """What volumes are multiplied by: 1 for the exact constant, else that of the gallons per square
    foot and inch that an ordinance prints (0.99459 for California's)."""
    if constant == "exact":
        return 1.0
    return rounded / EXACT_GALLONS


def applied_depth_m(
    eto_m: np.ndarray,
    rain_m: np.ndarray,
    factor: np.ndarray,
    efficiency: np.ndarray | float,
    rules: Climate,
    by_factor: np.ndarray | bool = False,
) -> np.ndarray:
    """Irrigation applied, metres a month. ``eto_m``, ``rain_m``: (..., 12); ``factor``: (..., 12);
    ``efficiency``: over 0 to 1; ``by_factor``: whether rain counts by the factor, as factor less
    its months."""
    need = eto_m * factor
    whole = need - effective_rain_m(rules, rain_m, need)
    reference = np.broadcast_to(eto_m, need.shape)
    share = (eto_m - effective_rain_m(rules, rain_m, reference)) * factor
    depth: np.ndarray = np.maximum(0.0, np.where(by_factor, share, whole)) / efficiency
    return depth


class _Balance:
    """The water balance of one case, for any cover and efficiency. ``kind`` (n,): which areas have
    place, cover and irrigation in common."""

    def __init__(self, lawns: Lawns, months: Months, rules: WaterRules, case: Case):
        way = {"effective_rain": case.rain_method} if case.rain_method else {}
        self.climate = rules.climate.model_copy(update=way)
        place, eto_m, rain_m = months.places(lawns.areas["site"])
        cover = lawns.cover_numbers
        method = lawns.method_numbers
        kinds, self.kind = _kinds(place, cover, method)
        self.eto_m = eto_m[kinds[:, 0]] * case.eto
        self.rain_m = rain_m[kinds[:, 0]] * case.rain
        self.area_m2 = lawns.ground_m2[:, None] * volume_factor(rules.constant)
        self.covers = list(lawns.covers)
        self.methods = list(lawns.efficiencies)
        self.factors = np.array([lawns.covers[name].factor for name in self.covers])
        self.sparse = np.array([lawns.covers[name].rain_by_factor for name in self.covers])
        self.shares = np.array([lawns.efficiencies[name] for name in self.methods])
        self.own_cover = kinds[:, 1]
        now = np.minimum(1.0, self.shares * case.efficiency)  # the irrigation that is there
        self.own_share = now[kinds[:, 2]][:, None]

    def applied_m3(self, cover: int | np.ndarray, efficiency: np.ndarray | float) -> np.ndarray:
        """Irrigation of every area, (n, 12), under a cover (number, or one a kind)."""
        at = np.broadcast_to(cover, len(self.own_cover))
        sparse = self.sparse[at][:, None]
        factor = self.factors[at]
        eto = self.eto_m
        rain = self.rain_m
        rules = self.climate
        depth = applied_depth_m(eto, rain, factor, efficiency, rules, by_factor=sparse)
        return np.asarray(depth[self.kind] * self.area_m2)

    def after_m3(self, conversion: Conversion, cover_name: str) -> np.ndarray:
        """Irrigation of every area after a conversion under the cover named, the area's own if
        empty, (n, 12)."""
        cover: int | np.ndarray = self.own_cover
        if cover_name:
            cover = self.covers.index(published.key(cover_name))
        share = self.own_share
        if conversion.irrigation:
            share = self.shares[self.methods.index(published.key(conversion.irrigation))]
        return self.applied_m3(cover, share)

    def now_m3(self) -> np.ndarray:
        """Irrigation of every area as it is, (n, 12), by the formula."""
        return self.applied_m3(self.own_cover, self.own_share)


def use(lawns: Lawns, months: Months, rules: WaterRules, case: Case = MIDDLE) -> Use:
    """Water of every area before, and after every conversion on offer."""
    balance = _Balance(lawns, months, rules, case)
    modelled = balance.now_m3()
    before, meter = _metered(lawns, modelled)
    after = np.zeros((len(before), len(lawns.names), 12))
    establishing = np.zeros(after.shape[:2])
    for j, conversion in enumerate(lawns.conversions):
        irrigated = balance.after_m3(conversion, conversion.cover)
        after[:, j] = irrigated * _kept(conversion, meter)[:, None]
        if conversion.establishing_years:
            young = balance.after_m3(conversion, conversion.establishing_cover).sum(axis=1)
            establishing[:, j] = np.maximum(0.0, young - after[:, j].sum(axis=1))
        after[:, j] += _stated_m(conversion) * case.rinse * lawns.ground_m2[:, None]
    return Use(before, after, modelled, establishing)


def _stated_m(conversion: Conversion) -> np.ndarray:
    """Rinse and cooling water, (12,), metres a month."""
    rinses = np.array(conversion.rinses)
    coolings = np.array(conversion.coolings)
    return conversion.rinse_m * rinses + conversion.cooling_m * coolings


def used_now(lawns: Lawns, months: Months, rules: WaterRules, case: Case = MIDDLE) -> np.ndarray:
    """Water of every area before, (n, 12), by the formula alone."""
    return _Balance(lawns, months, rules, case).now_m3()


def _metered(lawns: Lawns, modelled: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Use now, (n, 12), and meter over model of each area, (n,)."""
    if lawns.bills is None:
        return modelled, np.ones(len(modelled))
    site = site_numbers(lawns)
    before = metered_m3(lawns.bills, modelled, lawns.ground_m2, site)
    return before, calibration(lawns.bills, modelled, before, site)


def _kept(conversion: Conversion, meter: np.ndarray) -> np.ndarray:
    """What of the meter's departure from the model stays after a conversion, a factor (n,).
    Irrigation that is kept wastes or stints as before; new irrigation ends waste, but what was
    watered sparingly stays so where the cover stays; what is newly planted is watered as
    planned."""
    if conversion.irrigation and conversion.cover:
        return np.ones(len(meter))
    kept: np.ndarray = np.minimum(meter, 1.0) if conversion.irrigation else meter
    return kept


def _kinds(*numbers: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The rows of ``numbers``, (n,) each, that there are, and which of them each row is: a city has
    few, and depths of water are worked out once a kind."""
    sizes = [int(one.max(initial=0)) + 1 for one in numbers]
    codes, kind = np.unique(np.ravel_multi_index(numbers, sizes), return_inverse=True)
    return np.column_stack(np.unravel_index(codes, sizes)), kind
