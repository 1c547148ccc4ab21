"""planner.html: what a council needs to see to say which lawns to convert to what.

One page, no script, no network; tables and inline SVG. Figures come from `geoturf.model.Water` and are put into the
bid's units here.
"""

from __future__ import annotations

from geoturf.model import Result
from geoturf.planner import answers, proofs
from geoturf.planner.html import Markup, tag
from geoturf.planner.shown import Shown
from geoturf.planner.spoken import facts, lines

__all__ = ["facts", "lines", "page"]

_STYLE = """
:root { color-scheme: light }
body { font: 16px/1.5 system-ui, sans-serif; color: #1d2733; background: #fff; max-width: 76rem; margin: 0 auto; padding: 1rem }
h1 { font-size: 1.7rem; margin: .4rem 0 }
h2 { font-size: 1.25rem; margin: 2rem 0 .5rem; border-top: 1px solid #ccd3da; padding-top: 1rem }
h3 { font-size: 1.05rem; margin: 1rem 0 .3rem }
.lead { font-size: 1.1rem; background: #eef3f8; border-left: 4px solid #2f5d8a; padding: .8rem 1rem }
.wide { overflow-x: auto } table { border-collapse: collapse; font-size: .88rem; min-width: 30rem }
th, td { padding: .25rem .5rem; border-bottom: 1px solid #dfe4e9; vertical-align: top }
td.t { min-width: 5rem; max-width: 20rem; overflow-wrap: break-word } td.t:last-child { min-width: 13rem }
th { background: #f5f7f9; text-align: left }
.n { text-align: right; font-variant-numeric: tabular-nums } td.n { white-space: nowrap }
.note { color: #4a5866; font-size: .92rem } details { margin: .6rem 0 } summary { cursor: pointer; color: #2f5d8a }
.chart { display: block; width: 100%; min-width: 36rem; max-width: 52rem; height: auto }
.label { font: 12px system-ui, sans-serif; fill: #39444f }
.axis { font: 12px system-ui, sans-serif; fill: #39444f; text-anchor: middle } .grid { stroke: #e3e8ed }
.line { fill: none; stroke: #2f5d8a; stroke-width: 2 } .dot { fill: #2f5d8a } .mark { fill: #a8480f }
.flag { stroke: #a8480f; stroke-dasharray: 4 3 } .flagword { font: 600 12px system-ui, sans-serif; fill: #a8480f }
.before { fill: #8695a4 } .after { fill: #2f5d8a } .span { fill: #6f9ac2 } .fail { color: #9b1c1c; font-weight: 600 }
@page { margin: 12mm }
@media print {
  html { font-size: 10pt } body { font-size: 1rem; max-width: none; padding: 0 } h2 { margin: 1.2rem 0 .4rem; padding-top: .6rem }
  h2, h3, summary, .lead + .note { break-after: avoid } tr, li, .chart, .lead { break-inside: avoid }
  .wide { overflow: visible } table { min-width: 0; font-size: 7.5pt; line-height: 1.35 } th, td { padding: .15rem .3rem }
  td.t, td.t:last-child { min-width: 0; max-width: none } td.t:last-child { min-width: 9rem }
  .chart { min-width: 0; max-height: 8cm } summary { color: inherit; font-weight: 600; list-style: none }
  details::details-content { content-visibility: visible; block-size: auto }
}
"""
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"

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
    head = tag(
        "head",
        Markup('<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        tag("title", title),
        tag("style", Markup(_STYLE)),
    )
    body = tag("body", tag("main", tag("h1", title), _MAPS, *(part for part in parts if part)))
    return f"<!doctype html>\n{tag('html', head, body, lang='en')}\n"
