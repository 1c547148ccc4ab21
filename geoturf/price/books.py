"""Whose prices hold where: sites under price books, and phases parted by them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import pandas as pd

from geoturf.errors import InputError
from geoturf.model import Finding, Ground
from geoturf.rules.layer import nearest

_TOLD = 20  # sites named one by one


def by_book(ground: Ground, books: Iterable[str]) -> Ground:
    """The ground with phases that lie under one price book each: a phase under several is parted,
    as what is bought for one of them is neither taxed nor hauled with the rest. Where a bid has no
    ``books`` a column of that name says nothing.

    Raises `InputError` for books that the bid does not have, and for sites under two."""
    known = tuple(books)
    areas = ground.areas
    if not known:
        if _named(areas):
            return replace(ground, areas=areas.assign(price_book=""))
        return ground
    faults = [*_unknown(areas, known), *_under_two(areas)]
    if faults:
        raise InputError(faults)
    return replace(ground, areas=areas.assign(phase=_parted(areas)))


def books_of(areas: pd.DataFrame) -> dict[str, str]:
    """The price book of each phase, "" for the bid's own prices; phases in their order."""
    return dict(zip(areas["phase"].astype(str), areas["price_book"], strict=True))


def _named(areas: pd.DataFrame) -> bool:
    return "price_book" in areas and bool(areas["price_book"].ne("").any())


def _parted(areas: pd.DataFrame) -> list[str]:
    """The phase of each area: with the book's name where its phase lies under several."""
    under = areas.groupby("phase")["price_book"].transform("nunique")
    taken = set(areas["phase"])
    names: dict[tuple[str, str], str] = {}
    for phase, book, several in zip(areas["phase"], areas["price_book"], under, strict=True):
        name = phase
        if several > 1 and book:
            name = f"{phase}, {book}"
        while (phase, book) not in names and name != phase and name in taken:
            name += " (book)"
        names.setdefault((phase, book), name)
        taken.add(names[phase, book])
    return [names[key] for key in zip(areas["phase"], areas["price_book"], strict=True)]


def _unknown(areas: pd.DataFrame, books: tuple[str, ...]) -> list[Finding]:
    """One line a name that is no book, where it first stands."""
    strange = areas[~areas["price_book"].isin(["", *books])].drop_duplicates("price_book")
    told = []
    for name, area in zip(strange["price_book"], strange.itertuples(), strict=True):
        what = f"price book '{name}' is not one of [books]{nearest(name, books)}"
        mend = f"an empty [books.{name}] takes the bid's own prices"
        message = f"{what}; the bid has {', '.join(books)}; {mend}"
        told.append(_at(area, "unknown-book", message))
    return told


def _under_two(areas: pd.DataFrame) -> list[Finding]:
    """One line a site whose areas lie under several books."""
    pairs = areas.drop_duplicates(["site", "price_book"])
    split = pairs[pairs.duplicated("site", keep=False)].groupby("site", sort=False)
    told = []
    for site, rows in list(split)[:_TOLD]:
        books = ", ".join(name or "the bid's own" for name in rows["price_book"])
        what = f"site {site} is under two price books ({books})"
        told.append(_at(next(rows.itertuples()), "two-books", f"{what}: give all its areas one"))
    if split.ngroups > _TOLD:
        more = f"and {split.ngroups - _TOLD:,} more sites are under two price books"
        told.append(Finding("error", "two-books", more))
    return told


def _at(area: object, code: str, message: str) -> Finding:
    place = {name: str(getattr(area, name)) for name in ("file", "layer", "feature")}
    return Finding("error", code, message, **place)
