"""portfolio.html: a bid of many sites by whatever its data carry: groups, outliers, every site.

    figures.py  sums by group, sites, what stands out
    plot.py     a small map of the sites
    page.css    how it looks, on a screen and on paper
    page.js     sorts, filters and downloads; without it the groups and outliers stand all the same

One page that asks for nothing; what it may do is told by the digests of its own blocks.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import pandas as pd

from geoturf.maps.frame import content_security_policy, island, plain
from geoturf.model import Result
from geoturf.planner.html import as_it_is, document, folded, note, section, table, tag
from geoturf.portfolio import figures, plot
from geoturf.staying import everywhere

_CHARTED = ("price", "each", "waste")


def page(result: Result) -> str:
    """The whole page as text (UTF-8)."""
    result = everywhere(result)
    land = figures.land(result)
    rows = figures.sites(land)
    title = f"{result.bid.name}: portfolio"
    style = _read("page.css")
    script = _read("page.js")
    policy = content_security_policy(f"<style>\n{style}</style><script>{script}</script>")
    parts = [
        tag("h1", title),
        *map(note, figures.notes(land)),
        _whole(land),
        _outliers(land, rows),
        plot.drawn(result, land, rows),
        *(_group(land, group) for group in land.groups),
        _sites(land),
        as_it_is(island("geoturf-sites", _data(result, land, rows))),
        as_it_is(f"<script>{script}</script>"),
    ]
    return plain(document(title, style, *parts, policy=policy))


def _read(name: str) -> str:
    return files(__name__).joinpath(name).read_text("utf-8")


def _whole(land: figures.Land) -> object:
    rows = [tag("div", tag("dt", word), tag("dd", value)) for word, value in figures.whole(land)]
    return section("All together", tag("dl", *rows))


def _outliers(land: figures.Land, rows: pd.DataFrame) -> object:
    parts = [_html_table(one) for one in figures.outliers(land, rows)]
    if parts:
        return section("What stands out", *parts)
    return ""


def _group(land: figures.Land, group: str) -> object:
    told = figures.by_group(land, group)
    labels = {one.name: one.label for one in figures.measures(land)}
    charted = [*_CHARTED, *(["saved"] if land.water else [])]
    charts = [_bars(labels[name], figures.bars(land, group, name)) for name in charted]
    return section(told.title, tag("div", *charts, class_="charts"), _sheet(told), note(told.said))


def _bars(title: str, bars: list[figures.Bar]) -> object:
    rows = [_bar(bar) for bar in bars]
    return tag("figure", tag("figcaption", title), *rows)


def _bar(bar: figures.Bar) -> object:
    long = tag("rect", width=f"{100 * bar.part:.2f}", height="10")
    drawn = tag(
        "svg",
        long,
        viewBox="0 0 100 10",
        preserveAspectRatio="none",
        aria_hidden="true",
    )
    return tag("div", tag("span", bar.name), drawn, tag("b", bar.value), class_="bar")


def _html_table(told: figures.Table) -> object:
    parts = tag("h3", told.title), _sheet(told), note(told.said)
    return tag("div", *parts, class_="told")


def _sheet(told: figures.Table) -> object:
    """A table that the script makes sortable, and calls so when it is downloaded."""
    return tag("div", table(told.head, told.rows, told.text), class_="sheet", data_name=told.title)


def _sites(land: figures.Land) -> object:
    """Where the script puts the table of sites; what is left without it."""
    without = note("Without scripts the sites are not listed here; sites.csv has them all.")
    hint = note(f"Choose, find, sort: the sums follow. Area in {land.square}.")
    return section("Every site", tag("div", without, id="sites"), folded("How to use it", hint))


def _data(result: Result, land: figures.Land, rows: pd.DataFrame) -> dict[str, Any]:
    """The sites for the script: columns that are shown, and what sums are made of."""
    shown: list[dict[str, Any]] = [{"label": "site", "words": rows.index.astype(str).tolist()}]
    shown += [{"label": name, "words": rows[f"by {name}"].tolist()} for name in land.groups]
    for one in figures.measures(land):
        values = rows[one.name].round(max(one.digits, 2)).fillna(0.0).tolist()
        shown.append(
            {
                "label": one.label,
                "name": one.name,
                "digits": one.digits,
                "values": values,
            }
        )
    hidden = (
        "ground",
        "surface",
        "bought",
        "cents",
        "variance",
        "cents_variance",
        "saved",
        "areas",
    )
    sums = {name: rows[name].round(4).tolist() for name in hidden}
    return {
        "name": result.bid.name,
        "columns": shown,
        "sums": sums,
    }
