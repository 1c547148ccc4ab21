"""Views of a GeoPackage: a query that its maker wrote, which may never end.

GDAL would run it to look at a layer. So its rows are counted first, by SQLite, within so many steps
of its machine (not within a time: the same file is taken or refused on every machine).
"""

from __future__ import annotations

import contextlib
import sqlite3

from geoturf.read.item import Item

_STEP = 1000  # steps of the machine between looks at how many it was


def endless(item: Item, layer: str, steps: float) -> bool:
    """Whether counting the rows of a layer takes more than so many steps. Tables are counted
    without running anything."""
    with contextlib.closing(_opened(item)) as base:
        kind = base.execute("select type from sqlite_master where name = ?", (layer,)).fetchone()
        if kind != ("view",):
            return False
        left = [steps / _STEP]

        def spent() -> bool:
            left[0] -= 1
            return left[0] < 0

        base.set_progress_handler(spent, _STEP)
        name = layer.replace('"', '""')
        try:
            base.execute(f'select count(*) from (select * from "{name}")').fetchone()
        except sqlite3.OperationalError:  # interrupted, or functions that only GDAL has
            return left[0] < 0
        return False


def _opened(item: Item) -> sqlite3.Connection:
    if not item.member:
        return sqlite3.connect(f"{item.path.absolute().as_uri()}?mode=ro", uri=True)
    base = sqlite3.connect(":memory:")
    with item.opened() as file:
        base.deserialize(file.read())
    return base
