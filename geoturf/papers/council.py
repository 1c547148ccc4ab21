"""council.pdf: the planner's memo for a council's table, two pages. Every figure is one of
planner.html, put into words by the same functions."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

from geoturf.model import Result
from geoturf.papers import sender
from geoturf.planner import answers, proofs, spoken
from geoturf.planner.rows import Option, Scenario, records
from geoturf.planner.shown import Shown

_MOST_ASSUMED = 9  # lines; planner.html has them all
_SVG = "http://www.w3.org/2000/svg"  # what a drawing that stands by itself says it is
_KEY = re.compile(r"[a-z]+(?:[._][a-z]+)+")  # of a bid: turf.kept_line
_MORE = "planner.html, beside this memo, has the rest."


def data(result: Result) -> dict[str, Any]:
    """What ``type/council.typ`` takes. ``result.water`` must be there."""
    bid = result.bid
    shown = Shown(result)
    return {
        **sender.head(bid),
        "title": f"Water memo: {bid.name}",
        "running": " · ".join(part for part in (bid.bidder.name, bid.name) if part),
        "name": bid.name,
        "question": question(shown),
        "answer": _answer(shown),
        "proof": answers.proof(shown) if _chosen(shown) else "",
        "figures": _figures(shown),
        "curve": _curve(shown),
        "cut_off": answers.cut_off(shown) if _chosen(shown) else "",
        "first": _first(shown),
        "unsure": _unsure(shown),
        "assumed": _assumed(shown),
        "rules": list(_local_rules(shown)),
        "cautions": list(shown.water.cautions),
    }


def _chosen(shown: Shown) -> int:
    return int(shown.summary["chosen"]["areas"])


def question(shown: Shown) -> str:
    """What was asked, with what binds the answer."""
    summary = shown.summary
    rules = shown.result.bid.water
    budget = summary["budget"]
    purse = "" if budget is None else f" with {shown.money(budget)} to spend"
    aims = {"water": "the most water", "money": "the most money"}
    aim = aims.get(summary["objective"], "what is asked for at least cost")
    land = f"{summary['compared_areas']:,} areas compared"
    asked = f"Which of the {land} to convert, and to what, so as to save {aim}{purse}?"
    bounds = list(_bounds(shown, rules))
    return f"{asked} {' '.join(bounds)}".strip()


def _bounds(shown: Shown, rules: Any) -> Iterator[str]:
    """What else the bid asks for, a sentence each."""
    if rules.turf_share < 1:
        yield f"Synthetic turf takes at most {shown.share(rules.turf_share, 0)} of the ground."
    if rules.saving_m3:
        yield f"At least {shown.volume(rules.saving_m3)} a year is to be saved."
    if rules.every_district.areas or rules.districts:
        yield "Districts keep to the minimums, budgets and shares asked for each."
    if rules.funds:
        yield f"Each fund pays only for what it may: {', '.join(rules.funds)}."
    if rules.programme:
        yield f"It is done over {len(rules.programme.budgets)} years, each with a budget."
    if rules.longest_payback:
        yield f"Nothing is chosen that pays back later than in {rules.longest_payback} years."
    for named, word in ((rules.must, "must convert"), (rules.must_not, "must stay")):
        places = "; ".join(_place(one) for one in named)
        if places:
            yield f"By order {word}: {places}."


def _place(named: Any) -> str:
    where = (named.said,) if named.column else (named.site, named.area)
    parts = (*where, named.conversion)
    return ", ".join(part for part in parts if part)


def _answer(shown: Shown) -> list[str]:
    assumed = shown.summary["assumed_conversions"]
    said = [answers.saves(shown), *spoken.establishing(shown)]
    return [*([assumed] if assumed else []), *(said if _chosen(shown) else [spoken.nothing(shown)])]


def _figures(shown: Shown) -> dict[str, Any]:
    """What it costs and saves, beside what twice the budget would."""
    summary = shown.summary
    more = shown.summary["doubled"]
    budget = math.nan if more is None else summary["budget"]
    now = answers.totals_of(shown, summary["chosen"] | {"budget": budget})
    if more is None:
        now.pop("budget")
        return {"heads": ["", "this plan"], "rows": [list(row) for row in now.items()]}
    twice = answers.totals_of(shown, more)
    heads = ["", "this budget", "twice the budget"]
    return {"heads": heads, "rows": [[word, now[word], twice[word]] for word in now]}


def _curve(shown: Shown) -> dict[str, Any] | None:
    """The drawing of planner.html in the paper's own ink, with what it is called."""
    if shown.water.curve.empty:
        return None
    _, unit = shown.units["m3"]
    style = files("geoturf.papers").joinpath("type", "chart.css").read_text("utf-8")
    inside = str(answers.curve(shown)).removeprefix("<svg")
    head, _, body = inside.partition(">")
    drawn = f'<svg xmlns="{_SVG}"{head}><style>{style}</style>{body}'
    return {"svg": drawn.encode("utf-8"), "alt": f"Water saved a year against budget, {unit}"}


def _first(shown: Shown) -> dict[str, Any]:
    """The first areas, in the order in which money is best spent."""
    options = records(answers.chosen_areas(shown).head(answers.FIRST), Option)
    heads = ["rank", "area", "convert to", "saves a year", "capital", "payback, years", "why"]
    rows = [
        [
            f"{option.rank}",
            shown.place(option.site, option.area),
            option.title,
            shown.volume(option.saved_m3),
            shown.money(option.capital),
            shown.years(option.payback_years),
            option.why,
        ]
        for option in options
    ]
    return {"heads": heads, "rows": rows}


def _unsure(shown: Shown) -> dict[str, Any]:
    """The three cases, and which input moves the choice most."""
    rows = [
        [
            case.case,
            shown.volume(case.baseline_m3),
            shown.volume(case.saved_m3),
            shown.money(case.npv),
        ]
        for case in records(shown.water.scenarios, Scenario)
    ]
    heads = ["case", "used now", "saved a year", "net present value"]
    return {
        "said": proofs.moves_most(shown),
        "heads": heads,
        "rows": rows,
    }


def _assumed(shown: Shown) -> list[str]:
    of_bid = {note.message for note in shown.water.findings if note.code == "assumed-cost"}
    said = [_in_words(line) if line in of_bid else line for line in proofs.rests_on(shown)]
    lines = [_sentence(line) for line in said]
    if len(lines) <= _MOST_ASSUMED:
        return lines
    return [*lines[: _MOST_ASSUMED - 1], _MORE]


def _in_words(line: str) -> str:
    """With keys of the bid as words, for readers who never see a bid."""
    return _KEY.sub(lambda key: re.sub("[._]", " ", key[0]), line).replace("^2", "²")


def _sentence(line: str) -> str:
    """Without the table of the bid that a note names first, from a capital on."""
    said = line.removeprefix("water: ")
    return f"{said[:1].upper()}{said[1:]}"


def _local_rules(shown: Shown) -> Iterator[str]:
    """What a local rule may say against the choice: to be checked before the vote."""
    yield proofs.law(shown)
    for plan, comply, every in proofs.complying(shown):
        yield f"Water allowance, {plan}: {comply:,} of {every:,} sites comply."
    whose = shown.result.bid.water.profile
    if whose is None:
        yield "No local minimums for synthetic turf are stated: ask for the local standard."
    else:
        yield f"{whose.name or 'Local minimums for synthetic turf'}: {proofs.minimums(shown)}"
