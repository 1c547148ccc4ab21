"""Price books: the bid's prices with those of a book in their place, and the phases that each holds
for."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from geoturf.audit.factors import UNITS
from geoturf.audit.folder import Beyond, Folder, Table, Unreadable

_RATE = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([^/\s]*)\s*(?:/\s*(?:h|hour))?\s*")

#: what a book may give of the build-up
_STEPS = ("waste", "contingency", "sales_tax", "overhead", "profit", "bond", "minimum", "extras")
#: terms of orders, which go with the bid's own unit costs
_ORDERS = ("breaks", "least", "hire")


def of_phases(folder: Folder) -> dict[str, str]:
    """The book of each phase; "" is the bid itself. Raises `Unreadable` for a phase of several."""
    areas = folder.table("areas")
    phases = areas.text("phase")
    books = areas.text("price_book") if areas.has("price_book") else [""] * len(phases)
    out: dict[str, str] = {}
    for phase, book in zip(phases, books, strict=True):
        if out.setdefault(phase, book) != book:
            raise Unreadable(f"phase {phase} is told under price books '{out[phase]}' and '{book}'")
    return out


def prices(settings: dict[str, Any], name: str) -> dict[str, Any]:
    """The table [price] as it holds under a book."""
    own: dict[str, Any] = settings["price"]
    if not name:
        return own
    if name not in settings["books"]:
        raise Unreadable(f"no price book is called {name}")
    book = settings["books"][name]
    given = {step: book[step] for step in _STEPS if book.get(step) is not None}
    orders = {
        table: {key: one for key, one in (own.get(table) or {}).items() if key not in book["costs"]}
        for table in _ORDERS
    }
    return own | given | orders | {"costs": own["costs"] | book["costs"]}


def steps(folder: Folder, name: str) -> Table:
    """The rows of the build-up under a book."""
    table = folder.table("build_up")
    of = table.text("book") if table.has("book") else [""] * len(table)
    return table.only(np.array([own == name for own in of], bool))


def materials(settings: dict[str, Any], name: str) -> dict[str, Any]:
    """The table [materials] as it holds under a book. Raises `Beyond` for a rate in words that are
    not known here."""
    own: dict[str, Any] = settings["materials"]
    given = settings["books"][name]["rates"] if name else {}
    rates = {key.removesuffix("_h"): _rate(stated) for key, stated in given.items()}
    return own | {"rates": own["rates"] | rates}


def _rate(stated: Any) -> float:
    """A production rate in SI: so much an hour, or so many hours each."""
    if isinstance(stated, int | float):
        return float(stated)
    found = _RATE.fullmatch(str(stated))
    if found is None or (found.group(2) or "each") not in UNITS:
        raise Beyond(f"a price book's rate of {stated} is not reckoned with")
    return float(found.group(1)) * UNITS[found.group(2) or "each"]
