"""portfolio.pdf: what portfolio.html tells, on paper: all together, what stands out, by group, and
a map. The sites one by one stand in sites.csv."""

from __future__ import annotations

from typing import Any

from geoturf.model import Result
from geoturf.papers import drawing, sender
from geoturf.portfolio import figures
from geoturf.staying import everywhere

_MOST_GROUPS = 40  # of a table; the page has more, areas.csv all
_MAP_PT = {"letter": (510.0, 330.0), "a4": (493.0, 360.0)}


def data(result: Result) -> dict[str, Any]:
    """What ``type/portfolio.typ`` takes."""
    bid = result.bid
    land = figures.land(result)
    drawn = drawing.whole(drawing.land(everywhere(result)), *_MAP_PT[bid.page], bid.units)
    return {
        **sender.head(bid),
        "client": {"name": "", "lines": []},  # it is the office's
        "title": f"Portfolio: {bid.name}",
        "running": " · ".join(part for part in (bid.bidder.name, bid.name) if part),
        "name": bid.name,
        "notes": figures.notes(land),
        "figures": [list(row) for row in figures.whole(land)],
        "outliers": [_sheet(one) for one in figures.outliers(land, figures.sites(land))],
        "groups": [_sheet(figures.by_group(land, group)) for group in land.groups],
        "map": drawn | {"alt": "Where the areas lie"},
    }


def _sheet(told: figures.Table) -> dict[str, Any]:
    more = len(told.rows) - _MOST_GROUPS
    cut = ""
    if more > 0:
        cut = f"The first {_MOST_GROUPS} of {len(told.rows)} on the page. "
    return {
        "title": told.title,
        "heads": list(told.head),
        "rows": told.rows[:_MOST_GROUPS],
        "right": [k for k in range(len(told.head)) if k not in told.text],
        "said": f"{cut}{told.said}".strip(),
    }
