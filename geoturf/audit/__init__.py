"""A second program: from the input files and the bid to a report folder, sharing no code with what
wrote it.

It imports nothing else of geoturf (`tests/test_architecture.py`), reads files by other means than
the run does, and reckons with plain formulas of its own. What it cannot look at it says.

    folder.py   a report as anybody can read it: tables, run.json, layout.gpkg
    sources.py  the input, by struct, SQLite, json
    packed.py   zips and KML
    earth.py    geodesics, and planes that touch the earth
    drawn.py    input -> areas: layers as the bid names them, what became of each feature
    ground.py   areas: all of them, true, as their columns say
    edges.py    what lies along borders, by buffers
    laying.py   layout.gpkg: outlines as drawn, turf everywhere and once
    rolls.py    pieces on rolls, what is bought, between two bounds
    items.py    net quantities of items by plain formulas
    takeoff.py  the takeoff against them, orders by allowance and purchase unit
    money.py    lines, build-up, shares, to the cent
    shares.py   what each site bears of the price
    books.py    what holds under each price book
    dates.py    the calendar from crew-hours
    chances.py  percentiles of the price between bounds in closed form
    savings.py  volumes of water, costs of conversions, what is chosen
    sheets.py   the workbook's stored values
    pages.py    the maps' outlines
    asked.py    run.json's settings against the bid file
    parts.py    some areas at a time, on all processors
    told.py     a promise, and whether it holds
"""

from __future__ import annotations

import sqlite3
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import shapely

from geoturf.audit import (
    asked,
    chances,
    dates,
    edges,
    ground,
    laying,
    money,
    pages,
    rolls,
    savings,
    shares,
    sheets,
    takeoff,
)
from geoturf.audit.drawn import Drawn, Input
from geoturf.audit.folder import Beyond, Folder, Unreadable, opened
from geoturf.audit.items import Span
from geoturf.audit.parts import beside
from geoturf.audit.told import AGREES, BROKEN, UNSEEN, Told, broken, unseen

__all__ = ["AGREES", "BROKEN", "UNSEEN", "Told", "Unreadable", "audit", "bid_of", "home_of"]


#: what tables of other columns, or settings of another version, end in
_STRANGE = (
    ArithmeticError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
    sqlite3.Error,
    shapely.errors.ShapelyError,
)


def audit(
    report: str | Path, home: str | Path | None = None, bid: Mapping[str, Any] | None = None
) -> list[Told]:
    """Every promise that can be looked at again. ``home``: the folder that the input's paths start
    from, where the input is at hand; ``bid``: the bid file as TOML reads it. Raises `Unreadable`
    where ``report`` is no report."""
    folder = opened(Path(report))
    told: list[Told] = []
    if bid is not None:
        told += _safely("settings", lambda: [asked.promise(folder, bid)])
    with beside(_on_paper, folder) as on_paper:
        told += _on_ground(folder, home)
        told += on_paper()
    return told


def _on_ground(folder: Folder, home: str | Path | None) -> Iterator[Told]:
    """What hangs on shapes and on the input."""
    seen, drawn, found = _input(folder, home)
    yield from seen
    yield from _safely("edges add up", lambda: [edges.laid(folder), edges.add_up(folder)])
    if drawn is not None and found is not None and len(drawn.row):
        own = drawn
        around = found
        yield from _safely("edges", lambda: edges.promises(folder, own, around))
    yield from _safely("layout", lambda: _laid(folder, drawn))


def _on_paper(folder: Folder) -> list[Told]:
    """What hangs on tables alone, and on pages."""
    looks = {
        "price": money,
        "price of a site": shares,
        "calendar": dates,
        "risk": chances,
        "water": savings,
        "workbook": sheets,
        "maps": pages,
    }
    return [
        told
        for name, room in looks.items()
        for told in _safely(name, partial(room.promises, folder))
    ]


def _laid(folder: Folder, drawn: Drawn | None) -> Iterator[Told]:
    """What hangs on pieces."""
    if (folder.laid & ~folder.placed).any():
        why = "turf is estimated, not laid: there are no pieces to look at again"
        yield unseen("layout, rolls and takeoff", why)
        return
    caps = _caps(folder, drawn)
    own_depths = None if drawn is None else ground.depths(folder, drawn)
    yield from _safely("layout", lambda: laying.promises(folder, drawn))
    yield from _safely("rolls", lambda: rolls.promises(folder))
    yield from _safely("takeoff", lambda: takeoff.promises(folder, caps, own_depths))


def bid_of(inputs: Iterable[str]) -> dict[str, Any] | None:
    """The bid file among what was given, as TOML reads it. Raises `Unreadable`."""
    for path in inputs:
        if path.lower().endswith(".toml"):
            try:
                return tomllib.loads(Path(path).read_bytes().decode("utf-8-sig"))
            except (OSError, ValueError) as fault:
                raise Unreadable(f"{path} cannot be read: {fault}") from None
    return None


def home_of(report: str | Path, inputs: Iterable[str]) -> Path | None:
    """The folder that the input's paths start from: the bid's own, or one from which the files that
    were priced are found; None where they are not at hand."""
    given = [Path(path) for path in inputs]
    bids = [path.parent for path in given if path.suffix.lower() == ".toml"]
    names = [str(one["path"]) for one in opened(Path(report)).run["inputs"]]
    about = (folder for path in given for folder in (path.absolute(), *path.absolute().parents))
    homes = [*bids, Path(), *about]
    return next((home for home in homes if all((home / name).exists() for name in names)), None)


def _input(
    folder: Folder, home: str | Path | None
) -> tuple[list[Told], Drawn | None, Input | None]:
    if home is None:
        why = (
            f"the input is not at hand ({_named(folder)}): outlines, ground, edges and columns as "
            "drawn; give the bid, or the files"
        )
        return [unseen("input", why)], None, None
    try:
        return ground.promises(folder, Path(home))
    except Beyond as why:
        return [unseen("input", str(why))], None, None
    except (Unreadable, *_STRANGE) as fault:
        return [broken("input", f"cannot be followed ({fault})")], None, None


def _named(folder: Folder) -> str:
    """The input's files, or the first of them."""
    first, *others = [str(one["path"]) for one in folder.run["inputs"]] or ["no file"]
    if others:
        return f"{first} and {len(others)} more"
    return first


def _safely(promise: str, look: Callable[[], Iterable[Told]]) -> Iterator[Told]:
    """What cannot be read of a report, or followed in it, is a promise broken."""
    try:
        yield from look()
    except Beyond as why:
        yield unseen(promise, str(why))
    except Unreadable as fault:
        yield broken(promise, str(fault))
    except _STRANGE as fault:
        said = " ".join(str(fault).split())[:200]
        yield broken(promise, f"cannot be followed ({type(fault).__name__}: {said})")


def _caps(folder: Folder, drawn: Drawn | None) -> dict[str, Span] | None:
    if drawn is None:
        return None
    try:
        return takeoff.caps_of(folder, drawn.row.tolist(), drawn.given("caps"))
    except ValueError:
        return None
