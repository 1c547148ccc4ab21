"""changes.html: what moved, with both outlines drawn. One page, no script, no network."""

from __future__ import annotations

from importlib.resources import files
from itertools import islice

import pandas as pd

from geoturf.planner.html import MOST_ROWS, cut, document, folded, joined, note, section, table, tag
from geoturf.revision import rows, told
from geoturf.revision.causes import MEANT
from geoturf.revision.lots import Lots
from geoturf.revision.money import AMOUNT, QUANTITY, UNIT_PRICE
from geoturf.revision.outlines import drawings
from geoturf.revision.reports import Report

_DRAWN = 60  # sites; the table names them all


def page(old: Report, new: Report, lots: Lots, changes: pd.DataFrame) -> str:
    """The whole page as text."""
    title = "What moved"
    style = files(__name__.rpartition(".")[0]).joinpath("page.css")
    parts = [
        tag("p", f"{new.name} against {old.name}", class_="by"),
        *(tag("p", line, class_="lead") for line in told.not_priced(old, new)),
        tag("p", told.price(old, new), class_="lead"),
        _causes(changes, new.currency),
        _ground(old, new, lots, changes),
        _lines(changes),
        _shares(changes),
        _settings(changes),
    ]
    return document(title, style.read_text("utf-8"), tag("h1", title), *parts)


def _causes(changes: pd.DataFrame, currency: str) -> object:
    sums = told.by_cause(changes)
    body = [(why, f"{amount:+,}", _meant(why)) for why, amount in sums.items()]
    total = ("in all", f"{sum(sums.values()):+,}", "") if sums else ("nothing", "0.00", "")
    said = (
        "A quantity goes in proportion to the ground, a turf's to the surface laid with it, seams' "
        "to "
        "their length; what is left of it is by all that bear on it. Where more than one cause is "
        "named, none is told apart."
    )
    head = ("why", currency, "that is")
    return section("Why the price moved", table(head, [*body, total], text=(0, 2)), note(said))


def _meant(why: str) -> str:
    return "; ".join(MEANT[cause] for cause in why.split(", "))


def _ground(old: Report, new: Report, lots: Lots, changes: pd.DataFrame) -> object:
    moved = changes[changes["kind"].isin([rows.SITE, rows.AREA])]
    names = ("kind", "site", "area", "unit", "old", "new", "difference", "why")
    drawn = list(islice(drawings(old, new, lots), _DRAWN + 1))
    figures = [tag("figure", svg, tag("figcaption", site)) for site, svg in drawn[:_DRAWN]]
    more = ""
    if len(drawn) > _DRAWN:
        more = note(f"The first {_DRAWN} sites are drawn.")
    key = note(
        "Before: broken line. After: whole line, filled. Unchanged: thin and grey. North is up."
    )
    return section(
        "Sites and areas",
        tag("p", told.ground(old, new, lots, changes)),
        _html_table(moved, names, (0, 1, 2, 3, 7)) if len(moved) else "",
        key if figures else "",
        tag("div", *figures, class_="outlines") if figures else "",
        more,
    )


def _lines(changes: pd.DataFrame) -> object:
    moved = changes[changes["kind"].isin([QUANTITY, UNIT_PRICE, AMOUNT])]
    names = ("phase", "line", "kind", "unit", "old", "new", "difference", "why")
    said = (
        "Amounts add up to the difference of the price; where several things moved one, it goes by "
        "way of amounts between: first the old quantity in proportion to the surface of its phase "
        "(ground), then what else moved the quantity, both at the old unit price; then the new "
        "unit "
        "price on the new quantity."
    )
    return section("Price lines", note(said), _html_table(moved, names, (0, 1, 2, 3, 7)))


def _shares(changes: pd.DataFrame) -> object:
    parts = [
        folded(
            f"{title} ({len(some):,})",
            _html_table(some, (name, "unit", "old", "new", "difference"), (0, 1)),
        )
        for title, kind, name in (
            ("Phases", rows.PHASE, "phase"),
            ("Sites", rows.SITE_PRICE, "site"),
        )
        if len(some := changes[changes["kind"] == kind])
    ]
    if parts:
        return section("Prices of phases and sites", *parts)
    return ""


def _settings(changes: pd.DataFrame) -> object:
    some = changes[changes["kind"] == rows.SETTING]
    if not len(some):
        return section("Settings", tag("p", "All settings in force are the same."))
    said = "As run.json has them: measures in SI units."
    return section(
        "Settings", note(said), _html_table(some, ("line", "old", "new", "why"), (0, 1, 2, 3))
    )


def _html_table(some: pd.DataFrame, names: tuple[str, ...], text: tuple[int, ...]) -> object:
    body = some[list(names)].head(MOST_ROWS).itertuples(index=False)
    return joined([table(names, body, text=text), cut(len(some))])
