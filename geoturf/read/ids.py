"""Names of sites and areas across all layers: filled where missing, refused where they clash."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoturf.model import SourceLayer
from geoturf.read.say import Say, listed
from geoturf.rules.layer import nearest

_TOLD = 20  # clashes told one by one


def number_areas(tables: list[pd.DataFrame]) -> None:
    """Fills empty area names in place: 1, 2, 3 ... within a site, over all layers in the bid's order, past names in use."""
    if not any((table["area"] == "").any() for table in tables):
        return
    all_of = pd.concat([t[["site", "area"]] for t in tables], ignore_index=True)
    area, empty = all_of["area"].to_numpy(object).copy(), (all_of["area"] == "").to_numpy()
    mixed = empty & all_of["site"].isin(set(all_of["site"][~empty])).to_numpy()  # on sites that name other areas
    plain = empty & ~mixed
    area[plain] = (all_of[plain].groupby("site", sort=False).cumcount() + 1).astype(str).to_numpy()
    there = np.flatnonzero(all_of["site"].isin(set(all_of["site"][mixed])))
    for rows in all_of.iloc[there].groupby("site", sort=False).indices.values():
        _fill_past(area, there[rows], empty)
    first = 0
    for table in tables:
        table["area"] = area[first : first + len(table)]
        first += len(table)


def _fill_past(area: np.ndarray, rows: np.ndarray, empty: np.ndarray) -> None:
    """Numbers the empty ones of a site's rows past the names in use there."""
    used = set(area[rows])
    free = (name for n in range(1, 2 * len(rows) + 1) if (name := str(n)) not in used)
    for row in rows[empty[rows]]:
        area[row] = next(free)


def refuse_clashes(layers: list[SourceLayer], products: list[str], say: Say) -> None:
    """Each (site, area) once, each site in one phase, each product one of the bid's."""
    for layer in layers:
        _products(layer, products, say.at(layer.file, layer.layer))
    site, area, phase = (_codes(layers, name) for name in ("site", "area", "phase"))
    if _distinct(site, area) < len(site):
        _twice(_together(layers), layers, say)
    if _distinct(site, phase) > site.max(initial=-1) + 1:
        _phases(_together(layers), layers, say)


def _codes(layers: list[SourceLayer], name: str) -> np.ndarray:
    """A column over all layers, as a number for each different value."""
    return pd.factorize(np.concatenate([one.table[name].to_numpy(object) for one in layers] or [[]]))[0]


def _together(layers: list[SourceLayer]) -> pd.DataFrame:
    names = ["site", "area", "phase", "feature"]
    tables = [pd.DataFrame(one.table[names]).assign(layer=k) for k, one in enumerate(layers)]
    return pd.concat(tables, ignore_index=True)


def _distinct(left: np.ndarray, right: np.ndarray) -> int:
    """How many different pairs of codes there are."""
    return len(pd.unique(left * (right.max(initial=0) + 1) + right))


def _products(layer: SourceLayer, products: list[str], say: Say) -> None:
    product = layer.table["product"]
    unknown = layer.table[~product.isin(products)].groupby("product", sort=False)
    for k, (name, rows) in enumerate(unknown):
        if k == _TOLD:
            say.refuse("unknown-product", f"and {unknown.ngroups - _TOLD:,} more products that are not in [products]")
            break
        many = f" ({len(rows):,} features name it)" if len(rows) > 1 else ""
        message = (
            f"product '{name}' is not one of [products]{nearest(name, products)}; the bid has {listed(products)}{many}"
        )
        say.refuse("unknown-product", message, feature=str(rows["feature"].iloc[0]))


def _twice(table: pd.DataFrame, layers: list[SourceLayer], say: Say) -> None:
    twice = table[table.duplicated(["site", "area"], keep=False)]
    groups = twice.groupby(["site", "area"], sort=False)
    for k, ((site, area), rows) in enumerate(groups):
        if k == _TOLD:
            say.refuse(
                "duplicate-id", f"and {groups.ngroups - _TOLD:,} more pairs of site and area stand more than once"
            )
            break
        first = layers[rows["layer"].iloc[0]]
        where = listed(f"{_place(layers[r.layer])} feature {r.feature}" for r in rows.itertuples())
        say.at(first.file, first.layer).refuse(
            "duplicate-id",
            f"stands {len(rows)} times: {where}; give each area of a site its own name (column area)",
            site=str(site),
            area=str(area),
        )


def _place(layer: SourceLayer) -> str:
    return f"{layer.file} ({layer.layer})" if layer.layer else layer.file


def _phases(table: pd.DataFrame, layers: list[SourceLayer], say: Say) -> None:
    pairs = table.drop_duplicates(["site", "phase"])
    split = pairs[pairs.duplicated("site", keep=False)].groupby("site", sort=False)
    for k, (site, rows) in enumerate(split):
        if k == _TOLD:
            say.refuse("two-phases", f"and {split.ngroups - _TOLD:,} more sites are in more than one phase")
            break
        first = layers[rows["layer"].iloc[0]]
        say.at(first.file, first.layer).refuse(
            "two-phases",
            f"is in phases {listed(rows['phase'])}; a site is delivered in one phase: give it one, or name its parts apart",
            site=str(site),
        )
