"""The answer of a water comparison in few words: the terminal's last lines, the map's panel, the
workbook's first sheet."""

from __future__ import annotations

from geoturf.model import Result
from geoturf.planner.shown import INPUTS, Shown

Fact = tuple[str, str]


def facts(result: Result) -> list[Fact]:
    """Word and value of each figure of the answer, the answer first; nothing where the bid compares
    no water."""
    if result.water is None:
        return []
    shown = Shown(result)
    chosen = shown.summary["chosen"]
    horizon = shown.summary["horizon"]
    saved = shown.volume(chosen["saved_m3"])
    return [
        ("convert", converted(shown, ", ")),
        *_parts(shown),
        ("water saved a year", f"{saved}, {shown.share(_part(shown))} of today's"),
        ("  low to high case", _low_to_high(shown)),
        ("capital", shown.money(chosen["capital"])),
        *_budget(shown),
        ("water bill saved a year", shown.money(chosen["bill_saved"])),
        ("simple payback", shown.payback(chosen["payback_years"])),
        (f"net present value, {horizon} years", shown.money(chosen["npv"])),
    ]


def converted(shown: Shown, before: str, after: str = "") -> str:
    """How many areas of how many are chosen, and their ground between ``before`` and ``after``."""
    chosen = shown.summary["chosen"]
    compared = shown.summary["compared_areas"]
    ground = shown.area(chosen["ground_m2"])
    return f"{chosen['areas']:,} of {compared:,} areas{before}{ground}{after}"


def _parts(shown: Shown) -> list[Fact]:
    """Areas of each conversion chosen."""
    parts = shown.summary["conversions"]
    return [(f"  {part['title']}", f"{part['areas']:,} areas") for part in parts]


def _budget(shown: Shown) -> list[Fact]:
    budget = shown.summary["budget"]
    if budget is None:
        return []
    return [("  of a budget of", shown.money(budget)), ("  left unspent", _unspent(shown))]


def _unspent(shown: Shown) -> str:
    """What is left of the budget. There must be one."""
    return shown.money(shown.summary["budget"] - shown.summary["chosen"]["spent"])


def lines(result: Result) -> list[str]:
    """The answer in sentences: what is assumed where the bid states no conversions, what to
    convert, what it saves and costs, what is unsure. ``result.water`` must be there."""
    shown = Shown(result)
    assumed = shown.summary["assumed_conversions"]
    first = [assumed] if assumed else []
    if not shown.summary["chosen"]["areas"]:
        return [*first, nothing(shown)]
    said = [_convert(shown), _saves(shown), *establishing(shown), _pays(shown), unsure(shown)]
    return [*first, *said]


def _convert(shown: Shown) -> str:
    parts = [f"{part['title']} on {part['areas']:,}" for part in shown.summary["conversions"]]
    titles = ""
    if parts:
        titles = f": {', '.join(parts)}"
    return f"Water: convert {converted(shown, ' (', ')')}{titles}."


def _saves(shown: Shown) -> str:
    chosen = shown.summary["chosen"]
    budget = shown.summary["budget"]
    of = "" if budget is None else f" of {shown.money(budget)} to spend; {left(shown)}"
    return (
        f"It saves {shown.volume(chosen['saved_m3'])} a year, "
        f"{shown.share(_part(shown))} of today's use, "
        f"for {shown.money(chosen['capital'])} of capital{of}."
    )


def _pays(shown: Shown) -> str:
    chosen = shown.summary["chosen"]
    return (
        f"The water bill falls by {shown.money(chosen['bill_saved'])} a year at today's prices; "
        f"simple payback {shown.payback(chosen['payback_years'])}, "
        f"net present value over {shown.summary['horizon']} years {shown.money(chosen['npv'])}."
    )


def nothing(shown: Shown) -> str:
    """That no area is converted, and why. For the reason the bid's rules have to be looked at, so
    it names them."""
    why = shown.summary["left"].replace("nothing else", "nothing")
    none = f"none of {shown.summary['compared_areas']:,} areas is converted"
    return f"Water: {none}: {why} (longest_payback, budget, offer)."


def establishing(shown: Shown) -> list[str]:
    """What new plants take until they are established, where they take more then: one sentence or
    none."""
    chosen = shown.summary["chosen"]
    if not chosen["establishing_m3"] > 0:
        return []
    first = f"In the first {chosen['establishing_years']} years"
    extra = shown.volume(chosen["establishing_m3"])
    return [f"{first} new plants take {extra} a year more, which net present value counts."]


def left(shown: Shown) -> str:
    """What is left of the budget, and why it is not spent. There must be a budget."""
    return f"{_unspent(shown)} are left: {shown.summary['left']}"


def unsure(shown: Shown) -> str:
    """How far the saving may be off, and what moves the choice most."""
    most = shown.summary["most_sensitive"]
    moved = "no input within its range moves the choice"
    if most:
        moved = f"{INPUTS[most]} moves the choice most"
    dry = "; no rain is stated, so use and saving are told too high"
    rain = dry
    if shown.water.monthly["rain_m"].any():
        rain = ""
    case = f"from the low to the high case it saves {_low_to_high(shown)} a year"
    return f"Not sure: {case}; {moved}{rain}."


def _part(shown: Shown) -> float:
    """Share of today's use that the choice saves."""
    before = float(shown.summary["baseline_m3"])
    if before:
        return float(shown.summary["chosen"]["saved_m3"]) / before
    return 0.0


def _low_to_high(shown: Shown) -> str:
    """What the choice saves a year in the low case and in the high."""
    saved = shown.water.scenarios.set_index("case")["saved_m3"]
    return shown.range(float(saved["low"]), float(saved["high"]))
