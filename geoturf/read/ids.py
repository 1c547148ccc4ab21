"""Names of sites and areas across all layers: filled where missing, refused where they clash."""

from __future__ import annotations

from itertools import count

import numpy as np
import pandas as pd

from geoturf.read import texts
from geoturf.read.part import Columns, Part
from geoturf.read.say import Say, counted, listed
from geoturf.read.texts import Texts
from geoturf.rules.layer import nearest

_TOLD = 20  # clashes told one by one


def number_areas(tables: list[Columns]) -> None:
    """Fills empty area names in place: 1, 2, 3 ... within a site, over all layers in the bid's
    order, past names in use."""
    areas = texts.together([table.texts["area"] for table in tables])
    empty = areas.are("")
    if not empty.any():
        return
    site = texts.together([table.texts["site"] for table in tables]).codes
    area = areas.each()
    named = np.bincount(site, ~empty) > 0
    mixed = named[site] & empty  # on sites that name other areas
    plain = np.flatnonzero(empty & ~mixed)
    turn = pd.Series(site[plain]).groupby(site[plain]).cumcount() + 1
    area[plain] = turn.astype(str).to_numpy()
    there = np.flatnonzero((np.bincount(site, mixed) > 0)[site])
    for rows in pd.Series(there).groupby(site[there], sort=False).indices.values():
        _fill_past(area, there[rows], empty)
    first = 0
    for table in tables:
        past = first + len(table)
        table.texts["area"] = texts.of(area[first:past])
        first = past


def _fill_past(area: np.ndarray, rows: np.ndarray, empty: np.ndarray) -> None:
    """Numbers the empty ones of a site's rows past the names in use there."""
    used = set(area[rows])
    names = (str(number) for number in count(1))
    free = (name for name in names if name not in used)
    for row in rows[empty[rows]]:
        area[row] = next(free)


def known_products(
    table: Columns, found: dict[str, str], default: str, products: list[str], say: Say
) -> None:
    """Where no bid file says which products there are: what a file's column names is taken for the
    default in place, and told."""
    column = table.texts.get("product")
    if column is None:
        return
    unknown = [name for name in column.values.tolist() if name and name not in products]
    if not unknown:
        return
    strange = np.isin(column.values, unknown)
    rows = int(strange[column.codes].sum())
    what = (
        f"its column {found['product']} names {listed(unknown)}, of which nothing is known "
        "without a bid file"
    )
    mend = "geoturf draft writes a bid file with a table for each"
    say.warn("assumed-product", f"{what}: {counted(rows, 'feature')} priced as {default}; {mend}")
    values = np.where(strange, default, column.values)
    table.texts["product"] = texts.of(values[column.codes])


def refuse_clashes(parts: list[Part], products: list[str], say: Say) -> None:
    """Each (site, area) once, each site in one phase, each product one of the bid's."""
    for part in parts:
        _products(part, products, say.at(part.file, part.layer))

    def whole(name: str) -> Texts:
        return texts.together([part.columns.texts[name] for part in parts])

    site, area, phase = whole("site"), whole("area"), whole("phase")
    if _distinct(site, area) < len(site.codes):
        _twice(_together(parts), parts, say)
    if _distinct(site, phase) > _distinct(site, site):
        _phases(_together(parts), parts, say)


def _together(parts: list[Part]) -> pd.DataFrame:
    """Names of all features; column ``layer``: which of the parts each lies in."""
    names = ["site", "area", "phase", "feature"]
    tables = []
    for k, part in enumerate(parts):
        table = pd.DataFrame(part.columns.spread())[names]
        tables.append(table.assign(layer=k))
    return pd.concat(tables, ignore_index=True)


def _distinct(left: Texts, right: Texts) -> int:
    """How many different pairs of texts there are."""
    return len(pd.unique(left.codes * np.int64(len(right.values)) + right.codes))


def _products(part: Part, products: list[str], say: Say) -> None:
    product = part.columns.texts["product"]
    used = pd.unique(product.codes)
    unknown = [code for code in used.tolist() if product.values[code] not in products]
    for code in unknown[:_TOLD]:
        name = product.values[code]
        rows = np.flatnonzero(product.codes == code)
        many = ""
        if len(rows) > 1:
            many = f" ({len(rows):,} features name it)"
        what = f"product '{name}' is not one of [products]{nearest(name, products)}"
        message = f"{what}; the bid has {listed(products)}{many}"
        say.refuse("unknown-product", message, feature=str(part.columns.feature[rows[0]]))
    if len(unknown) > _TOLD:
        more = f"and {len(unknown) - _TOLD:,} more products that are not in [products]"
        say.refuse("unknown-product", more)


def _twice(table: pd.DataFrame, parts: list[Part], say: Say) -> None:
    twice = table[table.duplicated(["site", "area"], keep=False)]
    groups = twice.groupby(["site", "area"], sort=False)
    for k, ((site, area), rows) in enumerate(groups):
        if k == _TOLD:
            more = f"and {groups.ngroups - _TOLD:,} more pairs of site and area"
            say.refuse("duplicate-id", f"{more} stand more than once")
            break
        first = _first_of(rows, parts)
        what = f"stands {len(rows)} times: {listed(_places(rows, parts))}"
        message = f"{what}; give each area of a site its own name (column area)"
        there = say.at(first.file, first.layer)
        there.refuse("duplicate-id", message, site=str(site), area=str(area))


def _first_of(rows: pd.DataFrame, parts: list[Part]) -> Part:
    """The part that the first of some rows of `_together` lies in."""
    first: int = rows["layer"].tolist()[0]
    return parts[first]


def _places(rows: pd.DataFrame, parts: list[Part]) -> list[str]:
    """Where each of them stands: file, layer, feature."""
    layers = rows["layer"].tolist()
    features = rows["feature"].tolist()
    pairs = zip(layers, features, strict=True)
    return [f"{_place(parts[layer])} feature {feature}" for layer, feature in pairs]


def _place(part: Part) -> str:
    if part.layer:
        return f"{part.file} ({part.layer})"
    return part.file


def _phases(table: pd.DataFrame, parts: list[Part], say: Say) -> None:
    pairs = table.drop_duplicates(["site", "phase"])
    split = pairs[pairs.duplicated("site", keep=False)].groupby("site", sort=False)
    for k, (site, rows) in enumerate(split):
        if k == _TOLD:
            more = f"and {split.ngroups - _TOLD:,} more sites"
            say.refuse("two-phases", f"{more} are in more than one phase")
            break
        first = _first_of(rows, parts)
        what = f"is in phases {listed(rows['phase'])}; a site is delivered in one phase"
        message = f"{what}: give it one, or name its parts apart"
        say.at(first.file, first.layer).refuse("two-phases", message, site=str(site))
