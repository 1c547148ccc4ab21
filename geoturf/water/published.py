"""The published tables that geoturf ships, and a bid's own values laid over them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Cover, WaterRules
from geoturf.rules.water.names import key, meant, table

__all__ = ["adjustment_factors", "closest", "covers", "efficiencies", "key", "meant", "table", "which"]

_EITHER = {"lawn", "grass", "turf", "turfgrass", "sod"}
_UNSEEN = {"memory": "from memory: check before use", "assumption": "assumption"}


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
