"""The published tables that geoturf ships, and a bid's own values laid over them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Cover, WaterRules
from geoturf.rules.water.names import key, meant, rows_of
from geoturf.rules.water.ordinance import filled

__all__ = [
    "adjustment_factors",
    "closest",
    "covers",
    "efficiencies",
    "key",
    "meant",
    "nearest",
    "rows_of",
    "which",
]

_EITHER = {"lawn", "grass", "turf", "turfgrass", "sod"}
_SHORT = 300  # characters of a list of names at the end of a message
_UNSEEN = {"memory": "from memory: check before use", "assumption": "assumption"}


def which(name: str, known: Iterable[str], kind: str) -> str:
    """The end of a message about a name that is not known."""
    if kind == "cover" and key(name) in _EITHER:
        cool = "fescue, bluegrass, rye"
        warm = "bermuda, zoysia, buffalo"
        return f"say which: cool_season_lawn ({cool}) or warm_season_lawn ({warm})"
    return closest(name, known)


def closest(name: str, names: Iterable[str]) -> str:
    """The known names, the nearest first said, for the end of a message."""
    known = sorted(names)
    listed = ", ".join(known)
    near = get_close_matches(name, known, n=1, cutoff=0.5)
    if near:
        return f"did you mean '{near[0]}'? Known: {listed}"
    return f"known: {listed}"


def nearest(name: str, names: Iterable[str]) -> str:
    """The same of names that the data gives, which may be very many: cut short."""
    return closest(name, names)[:_SHORT]


def covers(rules: WaterRules) -> dict[str, Cover]:
    """Covers by name: the published ones, then the bid's. Raises `BidError` for a factor outside
    its category's range."""
    known = {row["cover"]: _published_cover(row) for row in rows_of("covers")}
    known |= {key(name): cover for name, cover in rules.covers.items()}
    ranges = {row["category"]: row for row in rows_of("plant_factors")}
    wrong = []
    for name, cover in rules.covers.items():
        if cover.category:
            wrong += _out_of_range(name, cover, ranges[cover.category])
    if wrong:
        raise BidError(wrong)
    return known


def _out_of_range(name: str, cover: Cover, category: Mapping[str, str]) -> list[Finding]:
    """The fault of a factor outside its category's range, if it is."""
    low = float(category["low"])
    high = float(category["high"])
    least = min(cover.factor)
    most = max(cover.factor)
    if low - 1e-9 <= least and most <= high + 1e-9:
        return []
    off = least if least < low else most
    text = (
        f"water.covers.{name}: a plant factor of {off:g} is outside {low:g} to {high:g}, "
        f"the range of '{cover.category}' ({category['source']}); change factor or category"
    )
    return [Finding("error", "plant-factor-range", text)]


def _published_cover(row: Mapping[str, str]) -> Cover:
    source = (row["source"], row["year"], _UNSEEN.get(row["seen"], ""))
    return Cover.model_validate(
        {
            "title": row["title"],
            "factor": row["value"],
            "upkeep": row["upkeep"],
            "rain": row["rain"],
            "special": row["special"] == "yes",
            "planted": row["planted"] == "yes",
            "source": ", ".join(part for part in source if part),
        }
    )


def efficiencies(rules: WaterRules) -> dict[str, float]:
    """Irrigation efficiency (0 to 1] by method: the published ones, then the bid's."""
    known = {row["method"]: float(row["value"]) for row in rows_of("irrigation")}
    own = {key(name): share for name, share in rules.efficiencies.items()}
    return known | own


def adjustment_factors(rules: WaterRules) -> dict[str, float]:
    """ET adjustment factors (ETAF) by kind of landscape: the published ones, then the bid's."""
    return filled(rules.ordinance).etaf
