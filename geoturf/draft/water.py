"""The [water] table of a starter bid, where the data say what grows, how it is watered or whose
district it is: filled in, and what is guessed or assumed marked so."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from geoturf.bid.listing import toml
from geoturf.draft.by_value import LAWNS, known_cover, known_irrigation
from geoturf.rules.water import WaterPrice, WaterRules
from geoturf.rules.water.conversion import SHIPPED
from geoturf.rules.water.names import key, rows_of

COLUMNS = ("cover", "irrigation", "district")
_COOL = "cool_season_lawn"
_MONEY = ("capital", "kept_line", "upkeep")


def lines(values: Mapping[str, Sequence[object]]) -> list[str]:
    """Lines of the table. ``values``: of each of `COLUMNS` that the priced layers have, its first
    values; empty: no table."""
    if not values:
        return []
    places = sorted({row["place"] for row in rows_of("eto")})
    default = {name: field.default for name, field in WaterRules.model_fields.items()}
    price = WaterPrice.model_fields["price"].default
    written = [
        "# Which lawns to convert, and to what? Take this part out where the bid is only to be "
        "priced.",
        "[water]",
        _line(
            "offer", list(SHIPPED), "what an area may become (below); add conversions of your own"
        ),
        '# budget = "250000 USD"  FILL IN: what may be spent; without it everything that pays back is converted',
        _line(
            "longest_payback",
            default["longest_payback"],
            "ASSUMED, years; what pays back later is not chosen",
        ),
        '# ordinance = "none"  or "california": whose verdict on water use is to be given',
        *_without(values),
        *(
            ["# every_district = { areas = 1 }  areas that each district gets at least"]
            if "district" in values
            else []
        ),
        "",
        "[water.climate]",
        _line("place", "nearest", f"GUESS: the nearest to each site of: {', '.join(places)}"),
        "# or twelve months, January first, of a station near you (then take the line of the place "
        "out):",
        '# eto = ["1.0 in", "1.7 in", ...]  reference evapotranspiration',
        '# rain = ["2.2 in", "2.0 in", ...]',
        "",
        "[water.price]",
        _line("price", price, "ASSUMED: put your own tariff; HCF, CCF, kgal or m^3"),
        '# tiers = [{ above = "20 HCF", price = "7.00 USD/HCF" }]',
    ]
    for name, conversion in SHIPPED.items():
        written += ["", f"[water.conversions.{name}]", _line("title", conversion["title"])]
        written += [
            _line(word, conversion[word], "ASSUMED") for word in _MONEY if word in conversion
        ]
    return [*written, *_covers(values.get("cover", ())), *_methods(values.get("irrigation", ()))]


def _without(values: Mapping[str, Sequence[object]]) -> list[str]:
    """What is taken where a column is missing."""
    taken = []
    if "cover" not in values:
        taken.append(_line("cover", _COOL, "GUESS: no column says what grows there"))
    if "irrigation" not in values:
        taken.append(_line("irrigation", "spray", "GUESS: no column says how it is watered"))
    return taken


def _covers(given: Iterable[object]) -> list[str]:
    """Covers that geoturf does not know by name: "lawn" and the like guessed, others asked for."""
    cool = next(row for row in rows_of("covers") if row["cover"] == _COOL)
    written = []
    for name in _unknown(given, known_cover):
        head = f"[water.covers.{toml(name)}]"
        if key(name) in LAWNS:
            factor = _line(
                "factor",
                float(cool["value"]),
                "GUESS: a cool-season lawn; 0.6 for a warm-season one",
            )
            written += ["", head, factor, _line("upkeep", cool["upkeep"], "ASSUMED")]
        else:
            written += [
                "",
                f"# {head}  FILL IN: geoturf does not know this cover",
                "# factor = 0.5",
            ]
    return written


def _methods(given: Iterable[object]) -> list[str]:
    """Irrigation methods that geoturf does not know by name are asked for: they may mean that
    nothing is watered."""
    unknown = _unknown(given, known_irrigation)
    shares = [
        f"# {toml(name)} = 0.75  FILL IN: geoturf does not know this way of watering"
        for name in unknown
    ]
    if shares:
        return ["", "# [water.efficiencies]", *shares]
    return []


def _unknown(given: Iterable[object], known: Callable[[str], bool]) -> list[str]:
    """Names once each, by their keys, of those that geoturf does not know."""
    found = {key(str(name)): str(name).strip() for name in given if not known(str(name))}
    return [name for name in found.values() if key(name)]


def _line(name: str, value: object, comment: str = "") -> str:
    text = f"{name} = {toml(value)}"
    if comment:
        return f"{text:<42}  # {comment}"
    return text
