"""Names of covers and irrigation methods: the published tables, and what people call what stands
in them.

Files ``geoturf/data/water_*.csv``; every row of a value has its unit, source and year, and
``seen``: ``read`` in the source, ``memory`` or ``assumption``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache

from geoturf import data


def rows_of(name: str) -> tuple[dict[str, str], ...]:
    """Rows of ``water_<name>.csv`` as texts."""
    return data.rows_of(f"water_{name}")


def key(name: str) -> str:
    """The name that tables are looked up by: ``Cool-season lawn`` -> ``cool_season_lawn``."""
    return re.sub(r"[^a-z0-9]+", "_", str(name).lower()).strip("_")


# words that tell nothing apart
_NO_SPECIES = {"grass", "lawn", "turf", "turfgrass", "sod", "mix", "mixed", "blend"}


@cache
def _synonyms(kind: str) -> dict[str, str]:
    return {key(row["name"]): row["means"] for row in rows_of("synonyms") if row["kind"] == kind}


def meant(name: str, known: Iterable[str], kind: str) -> str:
    """The known name that ``name`` means: itself, else by the table of synonyms, with or without
    words such as "grass"; of several species ("bluegrass / rye mix") where all mean one cover.
    ``kind``: cover or irrigation. What is not known comes back as its key."""
    whole = key(name)
    if whole in known:
        return whole
    parts = re.split(r"[/,;&+]|\band\b", str(name).lower())
    found = {_synonym(key(part), kind) for part in parts}
    if len(found) == 1 and "" not in found:
        return found.pop()
    return whole


def _synonym(whole: str, kind: str) -> str:
    told = "_".join(word for word in whole.split("_") if word not in _NO_SPECIES)
    return _synonyms(kind).get(whole) or _synonyms(kind).get(told, "")
