"""The areas that take part, and what is offered to each: checked once, whatever is later assumed
about weather and prices."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import pandas as pd

from geoturf.errors import BidError, InputError
from geoturf.model import Finding, Ground
from geoturf.rules.water import Conversion, Cover, WaterRules
from geoturf.units import US, Money, System, foreign
from geoturf.water import published
from geoturf.water.bills import Bills
from geoturf.water.tariff import Tariffs, tariffs


@dataclass(frozen=True)
class Lawns:
    """``areas``: the rows of `Ground.areas` that take part, RangeIndex, with ``area_index`` (row
    in `Ground.areas`) and ``cover`` and ``irrigation`` as keys of ``covers`` and ``efficiencies``.
    n areas, k conversions.

    ``names``: conversions on offer, (k,). ``offered``: bool (n, k). ``capital``: money (n, k),
    before any uncertainty.
    ``tariffs``: what water costs each site. ``degrees``: longitude and latitude of each area's
    frame, (n, 2); None where the ground has no frames. ``bills``: metered use, where the bid gives
    any. ``told``: the units that notes are in.
    """

    areas: pd.DataFrame
    names: tuple[str, ...]
    conversions: tuple[Conversion, ...]
    covers: Mapping[str, Cover]
    efficiencies: Mapping[str, float]
    offered: np.ndarray
    capital: np.ndarray
    findings: tuple[Finding, ...]
    tariffs: Tariffs
    degrees: np.ndarray | None = None
    bills: Bills | None = None
    told: System = US

    @cached_property
    def accounts(self) -> np.ndarray:
        """Number of each area's site, (n,)."""
        return self.areas.groupby("site", sort=False).ngroup().to_numpy()

    @cached_property
    def cover_numbers(self) -> np.ndarray:
        """Place of each area's cover among ``covers``, (n,)."""
        return _places(self.areas["cover"], self.covers)

    @cached_property
    def method_numbers(self) -> np.ndarray:
        """Place of each area's irrigation among ``efficiencies``, (n,)."""
        return _places(self.areas["irrigation"], self.efficiencies)

    @property
    def ground_m2(self) -> np.ndarray:
        return self.areas["ground_area_m2"].to_numpy(float)

    @property
    def surface_m2(self) -> np.ndarray:
        return self.areas["surface_area_m2"].to_numpy(float)


def _places(names: pd.Series, known: Iterable[str]) -> np.ndarray:
    """The place of each name among the known, (n,)."""
    place = {name: k for k, name in enumerate(known)}
    return names.map(place).to_numpy(int)


def lawns(ground: Ground, turf_price: pd.Series | None, rules: WaterRules, currency: str) -> Lawns:
    """Areas with an existing cover, and the conversions on offer with their capital.

    Raises `InputError` for a cover or irrigation method that is not known (each with its place in
    the data) and `BidError` for a conversion that cannot be priced, names what is not known, or is
    in another currency."""
    covers = published.covers(rules)
    methods = published.efficiencies(rules)
    areas = _with_cover(ground.areas, rules, {"cover": covers, "irrigation": methods})
    faults = _unknown(areas, "cover", covers, "unknown-cover")
    faults += _unknown(areas, "irrigation", methods, "unknown-irrigation")
    if faults:
        raise InputError(faults)
    conversions = tuple(_named(rules.conversions[name], covers, methods) for name in rules.offered)
    used = set(areas["cover"])
    faults_of_bid = _faults(rules, conversions, covers, methods, used, currency, turf_price is None)
    if faults_of_bid:
        raise BidError([Finding("error", "water-rule", fault) for fault in faults_of_bid])
    offers = [
        _offered(name, conversion, areas, turf_price)
        for name, conversion in zip(rules.offered, conversions, strict=True)
    ]
    return Lawns(
        areas,
        rules.offered,
        conversions,
        covers,
        methods,
        np.stack([offer.to for offer in offers], axis=1),
        np.stack([offer.capital for offer in offers], axis=1),
        (*_taken_as(areas), *(finding for offer in offers for finding in offer.findings)),
        tariffs(areas, rules),
        _degrees(ground, areas),
    )


def _degrees(ground: Ground, areas: pd.DataFrame) -> np.ndarray | None:
    frames = ground.frames
    if getattr(frames, "lon0_deg", None) is None:
        return None
    at = areas["frame"].to_numpy(int)
    return np.column_stack([np.asarray(frames.lon0_deg)[at], np.asarray(frames.lat0_deg)[at]])


class _Offer(NamedTuple):
    """A conversion: the areas it is offered ``to``, bool (n,), and its ``capital``, (n,)."""

    to: np.ndarray
    capital: np.ndarray
    findings: list[Finding]


def _offered(
    name: str,
    conversion: Conversion,
    areas: pd.DataFrame,
    turf_price: pd.Series | None,
) -> _Offer:
    """Where a conversion is on offer and what it costs there. Turf without a capital of its own
    takes this bid's ``turf_price``, and is offered only where there is one."""
    surface = areas["surface_area_m2"].to_numpy(float)
    to = np.ones(len(areas), dtype=bool)
    if conversion.only_covers:
        to &= areas["cover"].isin(conversion.only_covers).to_numpy()
    if conversion.except_uses:
        excepted = [use.lower() for use in conversion.except_uses]
        to &= ~areas["use"].str.lower().isin(excepted).to_numpy()
    findings = []
    if conversion.capital is not None:
        capital = by_area(conversion.capital, surface)
    else:
        price = _turf_price(turf_price, areas)
        priced = np.isfinite(price) & (price > 0)
        findings = _unpriced(name, areas, to & ~priced)
        to &= priced
        capital = np.where(priced, price, 0.0)
    with_line = np.round(capital + by_area(conversion.kept_line, surface), 2)
    return _Offer(to, with_line, findings)


def _turf_price(turf_price: pd.Series | None, areas: pd.DataFrame) -> np.ndarray:
    """This bid's price of turf on each area, (n,); nan where there is none."""
    if turf_price is None:
        return np.full(len(areas), np.nan)
    own = turf_price.reindex(areas["area_index"])
    return pd.to_numeric(own, errors="coerce").to_numpy(float)


def site_numbers(lawns: Lawns) -> np.ndarray:
    """Number of each area's site, (n,): the account that its water is billed to."""
    return lawns.accounts


def by_area(price: Money, area_m2: np.ndarray) -> np.ndarray:
    """A price per ground, or for each area, as money for areas of ``area_m2`` (n,)."""
    if price.dimension == (2, 0, 0):
        return price.per_si() * area_m2
    return np.full(len(area_m2), float(price.amount))


def _named(
    conversion: Conversion,
    covers: Mapping[str, Cover],
    methods: Mapping[str, float],
) -> Conversion:
    """The conversion with its covers and method by the names they are known by."""

    def cover(name: str) -> str:
        return name and published.meant(name, covers, "cover")

    method = conversion.irrigation
    return conversion.model_copy(
        update={
            "cover": cover(conversion.cover),
            "irrigation": method and published.meant(method, methods, "irrigation"),
            "only_covers": tuple(map(cover, conversion.only_covers)),
            "establishing_cover": cover(conversion.establishing_cover),
        }
    )


def _taken_as(areas: pd.DataFrame) -> list[Finding]:
    """One note with every name of the data that was taken as another."""
    said = []
    for column in ("cover", "irrigation"):
        for given, taken in set(zip(areas[f"{column}_as_given"], areas[column], strict=True)):
            if published.key(given) != taken:
                said.append(f"'{given}' as {taken}")
    text = f"water: names taken by geoturf's table of synonyms: {', '.join(sorted(said))}"
    if said:
        return [Finding("note", "synonym", text)]
    return []


def _with_cover(
    all_areas: pd.DataFrame,
    rules: WaterRules,
    known: Mapping[str, Mapping[str, object]],
) -> pd.DataFrame:
    """The areas with an existing cover, by the names that cover and method are known by."""
    areas = all_areas.reset_index(drop=True)
    areas = areas.assign(area_index=np.arange(len(areas)))
    for column, default in (("cover", rules.cover), ("irrigation", rules.irrigation)):
        given = _texts(areas, column).str.strip()
        given = given.where(given != "", default)
        meant = {name: published.meant(name, known[column], column) for name in given.unique()}
        areas[f"{column}_as_given"] = given
        areas[column] = given.map(meant)
    for column in ("district", "use", "product", "site", "area"):
        areas[column] = _texts(areas, column)
    taking_part = areas[areas["cover"] != ""].reset_index(drop=True)
    if taking_part.empty:
        fault = (
            "the water comparison has no area with an existing cover; "
            "give the data a cover column, "
            'or state water.cover (such as cover = "cool_season_lawn")'
        )
        raise InputError(Finding("error", "no-cover", fault))
    return taking_part


def _texts(areas: pd.DataFrame, column: str) -> pd.Series:
    """A column of text, empty where the areas have no such column or a row no value."""
    if column not in areas:
        return pd.Series("", index=areas.index)
    return areas[column].fillna("").astype(str)


def _unknown(
    areas: pd.DataFrame, column: str, known: Mapping[str, object], code: str
) -> list[Finding]:
    """One finding for each name that is not known, at the first area that has it."""
    bad = areas[~areas[column].isin(list(known))]
    word = "cover"
    where = "water.covers"
    if column == "irrigation":
        word = "irrigation method"
        where = "water.efficiencies"
    faults = []
    for _, group in bad.groupby(column, sort=True):
        row = group.iloc[0]
        more = ""
        if len(group) > 1:
            more = f" ({len(group)} areas)"
        hint = f"{published.which(row[column], known, column)}; or define it in [{where}]"
        given = row[f"{column}_as_given"]
        faults.append(
            Finding(
                "error",
                code,
                f"{word} '{given}' is not known{more}; {hint}",
                file=str(row.get("file", "")),
                layer=str(row.get("layer", "")),
                feature=str(row.get("feature", "")),
                site=row["site"],
                area=row["area"],
            )
        )
    return faults


def _faults(
    rules: WaterRules,
    conversions: tuple[Conversion, ...],
    covers: Mapping[str, Cover],
    methods: Mapping[str, float],
    used_covers: set[str],
    currency: str,
    no_turf_price: bool,
) -> list[str]:
    """Faults of the bid: names that are not known, turf without a price, published upkeep in
    another currency, a budget that is no sum."""
    faults = []
    for name, conversion in zip(rules.offered, conversions, strict=True):
        of_it = _of_names(conversion, covers, methods)
        if conversion.turf and conversion.capital is None and no_turf_price:
            state = 'state capital, such as "9.50 USD/ft^2"'
            of_it.append(f"this run has no price of turf; {state}")
        faults += [f"water.conversions.{name}: {fault}" for fault in of_it]
    after = {conversion.cover for conversion in conversions if conversion.upkeep is None}
    for cover in sorted((used_covers | after) & set(covers)):
        upkeep = covers[cover].upkeep
        if upkeep and upkeep.amount:  # nothing is nothing in any currency
            faults += foreign({f"water.covers.{cover}: upkeep": upkeep}, currency)
    if rules.budget is not None and rules.budget.unit != "each":
        such = f'which is written like "250000 {currency}"'
        faults.append(f"water.budget: {rules.budget} is no sum of money, {such}")
    return faults


def _of_names(
    conversion: Conversion,
    covers: Mapping[str, Cover],
    methods: Mapping[str, float],
) -> list[str]:
    """Faults of names that a conversion gives and nobody knows."""
    optional = (
        ("cover", conversion.cover),
        ("cover", conversion.establishing_cover),
        ("irrigation", conversion.irrigation),
    )
    named = [(kind, kind, name) for kind, name in optional if name]
    named += [("existing cover", "cover", name) for name in conversion.only_covers]
    known: dict[str, Mapping[str, object]] = {"cover": covers, "irrigation": methods}
    return [
        f"{word} '{name}' is not known; {published.which(name, known[kind], kind)}"
        for word, kind, name in named
        if name not in known[kind]
    ]


def _unpriced(name: str, areas: pd.DataFrame, missing: np.ndarray) -> list[Finding]:
    if not missing.any():
        return []
    first = areas[missing].iloc[0]
    areas_said = f"{int(missing.sum())} areas that the bid has no price for"
    text = f"conversion '{name}' is not offered to {areas_said}"
    return [Finding("note", "no-turf-price", text, site=first["site"], area=first["area"])]
