"""planner.html: what a council needs to see to say which lawns to convert to what.

One page, no script, no network; tables and inline SVG. Figures come from `geoturf.model.Water` and
are put into the bid's units here.

    answers.py  what to convert, what it saves, what if the budget doubles
    proofs.py   what the answer has to stand up to
    spoken.py   the answer in few words, for the terminal, the map and the workbook
    charts.py   inline SVG
    html.py     the page's parts
    page.css    how it looks, on a screen and on paper
    rows.py     rows of the tables as records
    shown.py    figures in the bid's units
"""

from __future__ import annotations

from importlib.resources import files

from geoturf.model import Result
from geoturf.planner import answers, proofs
from geoturf.planner.html import document, tag
from geoturf.planner.shown import Shown
from geoturf.planner.spoken import facts, lines

__all__ = ["facts", "lines", "page", "style"]

_MAPS = tag(
    "p",
    "On the map beside this page: ",
    tag("a", "water saved for the money, area by area", href="map.html#colour=saving"),
    "; ",
    tag("a", "what is chosen", href="map.html#colour=chosen"),
)


def page(result: Result) -> str:
    """The whole page as text (UTF-8). ``result.water`` must be there."""
    shown = Shown(result)
    parts = [
        answers.answer(shown),
        answers.first_areas(shown),
        answers.programme(shown),
        answers.funds(shown),
        answers.doubled(shown),
        answers.budget_curve(shown),
        answers.totals(shown),
        answers.by_month(shown),
        answers.conversions(shown),
        answers.ranking(shown),
        proofs.ordinance(shown),
        proofs.uncertainty(shown),
        proofs.profile(shown),
        proofs.inputs(shown),
        proofs.cautions(shown),
    ]
    title = f"{result.bid.name}: water"
    shown_parts = [part for part in parts if part]
    return document(title, style(), tag("h1", title), _MAPS, *shown_parts)


def style() -> str:
    """The page's style sheet."""
    return files("geoturf.planner").joinpath("page.css").read_text(encoding="utf-8")
