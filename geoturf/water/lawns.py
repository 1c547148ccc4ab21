"""The areas that take part, and what is offered to each: checked once, whatever is later assumed about weather and
prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from geoturf.errors import BidError, InputError
from geoturf.model import Finding, Ground
from geoturf.rules.water import Conversion, Cover, WaterRules
from geoturf.units import Money
from geoturf.water import published
from geoturf.water.bills import Bills


@dataclass(frozen=True)
class Lawns:
    """``areas``: the rows of `Ground.areas` that take part, RangeIndex, with ``area_index`` (row in `Ground.areas`) and
    ``cover`` and
    ``irrigation`` as keys of ``covers`` and ``efficiencies``. n areas, k conversions.

    ``names``: conversions on offer, (k,). ``offered``: bool (n, k). ``capital``: money (n, k), before any uncertainty.
    ``bills``: metered use, where the bid gives any.
    """

    areas: pd.DataFrame
    names: tuple[str, ...]
    conversions: tuple[Conversion, ...]
    covers: Mapping[str, Cover]
    efficiencies: Mapping[str, float]
    offered: np.ndarray
    capital: np.ndarray
    findings: tuple[Finding, ...]
    bills: Bills | None = None

    @property
    def ground_m2(self) -> np.ndarray:
        return self.areas["ground_area_m2"].to_numpy(float)

    @property
    def surface_m2(self) -> np.ndarray:
        return self.areas["surface_area_m2"].to_numpy(float)


def lawns(ground: Ground, turf_price: pd.Series | None, rules: WaterRules, currency: str) -> Lawns:
    """Areas with an existing cover, and the conversions on offer with their capital.

    Raises `InputError` for a cover or irrigation method that is not known (each with its place in the data) and
    `BidError` for a conversion that cannot be priced, names what is not known, or is in another currency."""
    covers, methods = published.covers(rules), published.efficiencies(rules)
    areas = _with_cover(ground.areas, rules, {"cover": covers, "irrigation": methods})
    faults = _unknown(areas, "cover", covers, "unknown-cover")
    faults += _unknown(areas, "irrigation", methods, "unknown-irrigation")
    if faults:
        raise InputError(faults)
    conversions = tuple(_named(rules.conversions[name], covers, methods) for name in rules.offered)
    _refuse_bid_faults(rules, conversions, covers, methods, currency, turf_price is None, set(areas["cover"]))

    offered = np.ones((len(areas), len(conversions)), dtype=bool)
    capital = np.zeros(offered.shape)
    surface = areas["surface_area_m2"].to_numpy(float)
    findings = _taken_as(areas)
    for j, (name, conversion) in enumerate(zip(rules.offered, conversions, strict=True)):
        if conversion.only_covers:
            offered[:, j] &= areas["cover"].isin(conversion.only_covers).to_numpy()
        if conversion.except_uses:
            offered[:, j] &= ~areas["use"].str.lower().isin([use.lower() for use in conversion.except_uses]).to_numpy()
        if conversion.capital is not None:
            capital[:, j] = by_area(conversion.capital, surface)
        else:
            price = pd.to_numeric(turf_price.reindex(areas["area_index"]), errors="coerce").to_numpy(float)
            priced = np.isfinite(price) & (price > 0)
            findings += _unpriced(name, areas, offered[:, j] & ~priced)
            offered[:, j] &= priced
            capital[:, j] = np.where(priced, price, 0.0)
        capital[:, j] = np.round(capital[:, j] + by_area(conversion.kept_line, surface), 2)
    return Lawns(areas, rules.offered, conversions, covers, methods, offered, capital, tuple(findings))


def site_numbers(lawns: Lawns) -> np.ndarray:
    """Number of each area's site, (n,): the account that its water is billed to."""
    return lawns.areas.groupby("site", sort=False).ngroup().to_numpy()


def by_area(price: Money, area_m2: np.ndarray) -> np.ndarray:
    """A price per ground, or for each area, as money for areas of ``area_m2`` (n,)."""
    return price.per_si() * area_m2 if price.dimension == (2, 0, 0) else np.full(len(area_m2), float(price.amount))


def _named(conversion: Conversion, covers: Mapping[str, Cover], methods: Mapping[str, float]) -> Conversion:
    """The conversion with its covers and method by the names they are known by."""
    cover = conversion.cover and published.meant(conversion.cover, covers, "cover")
    method = conversion.irrigation and published.meant(conversion.irrigation, methods, "irrigation")
    only = tuple(published.meant(name, covers, "cover") for name in conversion.only_covers)
    young = conversion.establishing_cover and published.meant(conversion.establishing_cover, covers, "cover")
    names = {"cover": cover, "irrigation": method, "only_covers": only, "establishing_cover": young}
    return conversion.model_copy(update=names)


def _taken_as(areas: pd.DataFrame) -> list[Finding]:
    """One note with every name of the data that was taken as another."""
    said = [
        f"'{given}' as {taken}"
        for column in ("cover", "irrigation")
        for given, taken in areas[[f"{column}_as_given", column]].drop_duplicates().itertuples(index=False)
        if published.key(given) != taken
    ]
    text = f"water: names taken by geoturf's table of synonyms: {', '.join(sorted(said))}"
    return [Finding("note", "synonym", text)] if said else []


def _with_cover(all_areas: pd.DataFrame, rules: WaterRules, known: Mapping[str, Mapping[str, object]]) -> pd.DataFrame:
    areas = all_areas.reset_index(drop=True)
    areas = areas.assign(area_index=np.arange(len(areas)))
    for column, default in (("cover", rules.cover), ("irrigation", rules.irrigation)):
        given = areas[column] if column in areas else pd.Series("", index=areas.index)
        given = given.fillna("").astype(str).str.strip()
        areas[f"{column}_as_given"] = given.where(given != "", default)
        areas[column] = areas[f"{column}_as_given"].map(
            {g: published.meant(g, known[column], column) for g in areas[f"{column}_as_given"].unique()}
        )
    for column in ("district", "use", "product", "site", "area"):
        areas[column] = (areas[column] if column in areas else pd.Series("", index=areas.index)).fillna("").astype(str)
    taking_part = areas[areas["cover"] != ""].reset_index(drop=True)
    if taking_part.empty:
        raise InputError(
            Finding(
                "error",
                "no-cover",
                "the water comparison has no area with an existing cover; give the data a cover column, or state water.cover "
                '(such as cover = "cool_season_lawn")',
            )
        )
    return taking_part


def _unknown(areas: pd.DataFrame, column: str, known: Mapping[str, object], code: str) -> list[Finding]:
    """One finding for each name that is not known, at the first area that has it."""
    bad = areas[~areas[column].isin(list(known))]
    word = "cover" if column == "cover" else "irrigation method"
    where = "water.covers" if column == "cover" else "water.efficiencies"
    faults = []
    for _, group in bad.groupby(column, sort=True):
        row = group.iloc[0]
        more = f" ({len(group)} areas)" if len(group) > 1 else ""
        hint = published.which(row[column], known, column)
        faults.append(
            Finding(
                "error",
                code,
                f"{word} '{row[f'{column}_as_given']}' is not known{more}; {hint}; or define it in [{where}]",
                file=str(row.get("file", "")),
                layer=str(row.get("layer", "")),
                feature=str(row.get("feature", "")),
                site=row["site"],
                area=row["area"],
            )
        )
    return faults


def _refuse_bid_faults(
    rules: WaterRules,
    conversions: tuple[Conversion, ...],
    covers: Mapping[str, Cover],
    methods: Mapping[str, float],
    currency: str,
    no_turf_price: bool,
    used_covers: set[str],
) -> None:
    faults: list[str] = []
    for name, conversion in zip(rules.offered, conversions, strict=True):
        place = f"water.conversions.{name}"
        named = (
            ("cover", conversion.cover, covers),
            ("cover", conversion.establishing_cover, covers),
            ("irrigation", conversion.irrigation, methods),
        )
        for word, value, known in named:
            if value and value not in known:
                faults.append(f"{place}: {word} '{value}' is not known; {published.which(value, known, word)}")
        faults += [
            f"{place}: existing cover '{cover}' is not known; {published.which(cover, covers, 'cover')}"
            for cover in conversion.only_covers
            if cover not in covers
        ]
        if conversion.turf and conversion.capital is None and no_turf_price:
            faults.append(f'{place}: this run has no price of turf; state capital, such as "9.50 USD/ft^2"')
        if conversion.rebate is not None:
            faults += _foreign(place, currency, amount=conversion.rebate.amount, most=conversion.rebate.most)
        faults += _foreign(
            place, currency, capital=conversion.capital, kept_line=conversion.kept_line, upkeep=conversion.upkeep
        )
    after = {conversion.cover for conversion in conversions if conversion.upkeep is None}
    for cover in sorted((used_covers | after) & set(covers)):
        faults += _foreign(f"water.covers.{cover}", currency, upkeep=covers[cover].upkeep)
    prices = {"price": rules.price.price, "budget": rules.budget} | {
        f"tiers {i + 1}": tier.price for i, tier in enumerate(rules.price.tiers)
    }
    faults += _foreign("water", currency, **prices)
    if rules.budget is not None and rules.budget.unit != "each":
        faults.append(f'water.budget: {rules.budget} is no sum of money, which is written like "250000 {currency}"')
    if faults:
        raise BidError([Finding("error", "water-rule", fault) for fault in faults])


def _foreign(place: str, currency: str, **prices: Money | None) -> list[str]:
    """Faults of prices in another currency than the bid's; zero is zero in any."""
    return [
        f"{place}: {word} is in {price.currency}, the bid in {currency}; state it in {currency}"
        for word, price in prices.items()
        if price is not None and price.currency != currency and price.amount != 0
    ]


def _unpriced(name: str, areas: pd.DataFrame, missing: np.ndarray) -> list[Finding]:
    if not missing.any():
        return []
    first = areas[missing].iloc[0]
    text = f"conversion '{name}' is not offered to {int(missing.sum())} areas that the bid has no price for"
    return [Finding("note", "no-turf-price", text, site=first["site"], area=first["area"])]
