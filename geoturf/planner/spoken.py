"""The answer of a water comparison in few words: the terminal's last lines, the map's panel, the workbook's first sheet."""

from __future__ import annotations

from geoturf.model import Result
from geoturf.planner.shown import INPUTS, Shown


def facts(result: Result) -> list[tuple[str, str]]:
    """Word and value of each figure of the answer, the answer first; nothing where the bid compares no water."""
    if result.water is None:
        return []
    shown, summary = Shown(result), result.water.summary
    chosen = summary["chosen"]
    return [
        ("convert", f"{chosen['areas']:,} of {summary['compared_areas']:,} areas, {shown.area(chosen['ground_m2'])}"),
        *((f"  {part['title']}", f"{part['areas']:,} areas") for part in summary["conversions"]),
        ("water saved a year", f"{shown.volume(chosen['saved_m3'])}, {shown.share(_part(shown))} of today's"),
        ("  low to high case", shown.range(*_span(shown))),
        ("capital", shown.money(chosen["capital"])),
        *_budget(shown),
        ("water bill saved a year", shown.money(chosen["bill_saved"])),
        ("simple payback", shown.payback(chosen["payback_years"])),
        (f"net present value, {summary['horizon']} years", shown.money(chosen["npv"])),
    ]


def _budget(shown: Shown) -> list[tuple[str, str]]:
    budget = shown.summary["budget"]
    if budget is None:
        return []
    unspent = shown.money(budget - shown.summary["chosen"]["spent"])
    return [("  of a budget of", shown.money(budget)), ("  left unspent", unspent)]


def lines(result: Result) -> list[str]:
    """The answer in sentences: what is assumed where the bid states no conversions, what to convert, what it saves and
    costs, what is unsure. ``result.water`` must be there."""
    shown, summary = Shown(result), result.water.summary
    chosen = summary["chosen"]
    first = [summary["assumed_conversions"]] if summary["assumed_conversions"] else []
    if not chosen["areas"]:
        return [*first, nothing(shown)]
    titles = ", ".join(f"{part['title']} on {part['areas']:,}" for part in summary["conversions"])
    of = f" of {shown.money(summary['budget'])} to spend; {left(shown)}" if summary["budget"] is not None else ""
    convert = f"convert {chosen['areas']:,} of {summary['compared_areas']:,} areas ({shown.area(chosen['ground_m2'])})"
    return [
        *first,
        f"Water: {convert}{': ' if titles else ''}{titles}.",
        f"It saves {shown.volume(chosen['saved_m3'])} a year, {shown.share(_part(shown))} of today's use, for "
        f"{shown.money(chosen['capital'])} of capital{of}.",
        *establishing(shown),
        f"The water bill falls by {shown.money(chosen['bill_saved'])} a year at today's prices; simple payback "
        f"{shown.payback(chosen['payback_years'])}, net present value over {summary['horizon']} years "
        f"{shown.money(chosen['npv'])}.",
        unsure(shown),
    ]


def nothing(shown: Shown) -> str:
    """That no area is converted, and why. For the reason the bid's rules have to be looked at, so it names them."""
    why = shown.summary["left"].replace("nothing else", "nothing")
    return f"Water: none of {shown.summary['compared_areas']:,} areas is converted: {why} (longest_payback, budget, offer)."


def establishing(shown: Shown) -> list[str]:
    """What new plants take until they are established, where they take more then: one sentence or none."""
    chosen = shown.summary["chosen"]
    if not chosen["establishing_m3"] > 0:
        return []
    years, extra = chosen["establishing_years"], shown.volume(chosen["establishing_m3"])
    return [f"In the first {years} years new plants take {extra} a year more, which net present value counts."]


def left(shown: Shown) -> str:
    """What is left of the budget, and why it is not spent. There must be a budget."""
    summary = shown.summary
    return f"{shown.money(summary['budget'] - summary['chosen']['spent'])} are left: {summary['left']}"


def unsure(shown: Shown) -> str:
    """How far the saving may be off, and what moves the choice most."""
    most = shown.summary["most_sensitive"]
    moved = f"{INPUTS[most]} moves the choice most" if most else "no input within its range moves the choice"
    dry = "" if shown.water.monthly["rain_m"].any() else "; no rain is stated, so use and saving are told too high"
    return f"Not sure: from the low to the high case it saves {shown.range(*_span(shown))} a year; {moved}{dry}."


def _part(shown: Shown) -> float:
    """Share of today's use that the choice saves."""
    before = shown.summary["baseline_m3"]
    return shown.summary["chosen"]["saved_m3"] / before if before else 0.0


def _span(shown: Shown) -> tuple[float, float]:
    saved = shown.water.scenarios.set_index("case")["saved_m3"]
    return float(saved["low"]), float(saved["high"])
