"""The published tables that geoturf ships, and a bid's own values laid over them.

Files ``geoturf/data/water_*.csv``; every row has value, unit, source and year, and ``seen``: ``read`` in the source,
``memory`` or
``assumption``.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Cover, WaterRules

_UNSEEN = {"memory": "from memory: check before use", "assumption": "assumption"}


@cache
def table(name: str) -> tuple[dict[str, str], ...]:
    """Rows of ``water_<name>.csv`` as texts."""
    text = files("geoturf").joinpath("data", f"water_{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


def key(name: str) -> str:
    """The name that tables are looked up by: ``Cool-season lawn`` -> ``cool_season_lawn``."""
    return re.sub(r"[^a-z0-9]+", "_", str(name).lower()).strip("_")


_NO_SPECIES = {"grass", "lawn", "turf", "turfgrass", "sod", "mix", "mixed", "blend"}  # words that tell nothing apart
_EITHER = {"lawn", "grass", "turf", "turfgrass", "sod"}


@cache
def _synonyms(kind: str) -> dict[str, str]:
    return {key(row["name"]): row["means"] for row in table("synonyms") if row["kind"] == kind}


def meant(name: str, known: Iterable[str], kind: str) -> str:
    """The known name that ``name`` means: itself, else by the table of synonyms, with or without words such as "grass";
    of several species ("bluegrass / rye mix") where all mean one cover. ``kind``: cover or irrigation. What is not known
    comes back as its key."""
    whole = key(name)
    if whole in known:
        return whole
    parts = re.split(r"[/,;&+]|\band\b", str(name).lower())
    found = {_synonym(key(part), kind) for part in parts}
    return found.pop() if len(found) == 1 and "" not in found else whole


def _synonym(whole: str, kind: str) -> str:
    told = "_".join(word for word in whole.split("_") if word not in _NO_SPECIES)
    return _synonyms(kind).get(whole) or _synonyms(kind).get(told, "")


def which(name: str, known: Iterable[str], kind: str) -> str:
    """The end of a message about a name that is not known."""
    if kind == "cover" and key(name) in _EITHER:
        return "say which: cool_season_lawn (fescue, bluegrass, rye) or warm_season_lawn (bermuda, zoysia, buffalo)"
    return closest(name, known)


def closest(name: str, names: Iterable[str]) -> str:
    """The known names, the nearest first said, for the end of a message."""
    names = sorted(names)
    near = get_close_matches(name, names, n=1, cutoff=0.5)
    return f"did you mean '{near[0]}'? Known: {', '.join(names)}" if near else f"known: {', '.join(names)}"


def covers(rules: WaterRules) -> dict[str, Cover]:
    """Covers by name: the published ones, then the bid's. Raises `BidError` for a factor outside its category's
    range."""
    known = {row["cover"]: _published_cover(row) for row in table("covers")}
    known |= {key(name): cover for name, cover in rules.covers.items()}
    ranges = {row["category"]: (float(row["low"]), float(row["high"]), row["source"]) for row in table("plant_factors")}
    wrong = []
    for name, cover in rules.covers.items():
        if cover.category:
            low, high, source = ranges[cover.category]
            if not low - 1e-9 <= min(cover.factor) <= max(cover.factor) <= high + 1e-9:
                off = min(cover.factor) if min(cover.factor) < low else max(cover.factor)
                wrong.append(
                    Finding(
                        "error",
                        "plant-factor-range",
                        f"water.covers.{name}: a plant factor of {off:g} is outside {low:g} to {high:g}, the range of "
                        f"'{cover.category}' ({source}); change factor or category",
                    )
                )
    if wrong:
        raise BidError(wrong)
    return known


def _published_cover(row: Mapping[str, str]) -> Cover:
    return Cover.model_validate(
        {
            "title": row["title"],
            "factor": row["value"],
            "upkeep": row["upkeep"],
            "rain": row["rain"],
            "special": row["special"] == "yes",
            "planted": row["planted"] == "yes",
            "source": ", ".join(part for part in (row["source"], row["year"], _UNSEEN.get(row["seen"], "")) if part),
        }
    )


def efficiencies(rules: WaterRules) -> dict[str, float]:
    """Irrigation efficiency (0 to 1] by method: the published ones, then the bid's."""
    return {row["method"]: float(row["value"]) for row in table("irrigation")} | {
        key(name): share for name, share in rules.efficiencies.items()
    }


def adjustment_factors(rules: WaterRules) -> dict[str, float]:
    """ET adjustment factors (ETAF) by kind of landscape: the published ones, then the bid's."""
    return {row["landscape"]: float(row["value"]) for row in table("etaf")} | {
        key(name): factor for name, factor in rules.ordinance.etaf.items()
    }
