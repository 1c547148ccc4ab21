"""index.html: the report's first page. What there is and for whom, the ten figures that matter,
findings that want an answer, what was assumed.

One page, no script, no network; its links lead to the files beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from importlib.resources import files
from pathlib import PurePosixPath

from geoturf import data, planner, tables
from geoturf.bid import assumed
from geoturf.front import sure, when
from geoturf.model import Finding, Result
from geoturf.planner.html import bullets, document, folded, note, section, tag
from geoturf.rules.items import ITEMS
from geoturf.units import FT2_M2, powers

_FIGURES = 10
_MOST = 60  # kinds of findings that are told; findings.csv has them all
# Reader -> what stands over his files, in this order; the rest is the office's, and tables
_READERS = {
    "client": "For the client",
    "crew": "For the crew",
    "buyer": "For the supplier",
    "council": "For the council",
    "portfolio": "For the analyst",
    "office": "For the office",
}
_NO_TURF = (
    "No area is to be turf: there is nothing for client, crew and supplier, and tables of turf, "
    "materials and price hold their heads alone."
)
_OF = {
    "planner": "council",
    "map": "office",
    "bid": "office",
}  # by a file's name at the top
_PAGES = (".html", ".pdf", ".xlsx")


def page(result: Result, written: Iterable[str]) -> str:
    """The whole page as text (UTF-8). ``written``: paths of the report's files below its folder,
    with ``/``."""
    title = result.bid.name
    style = files(__name__).joinpath("page.css").read_text("utf-8")
    parts = [_left_out(result), _figures(result), _files(result, written)]
    parts += [sure.told(result.risk, result.bid)]
    parts += [when.told(result.calendar)]
    parts += [_findings(result), _assumptions(result), _cautions(result)]
    return document(title, style, tag("h1", title), *_by(result), *(part for part in parts if part))


def _by(result: Result) -> Iterator[object]:
    """Who bids, for whom, when: as far as the bid says."""
    bidder = result.bid.bidder.name
    client = result.bid.client.name
    date = result.bid.terms.date
    said = [bidder, client and f"for {client}", date and date.isoformat()]
    if any(said):
        yield tag("p", " · ".join(str(part) for part in said if part), class_="by")


def _left_out(result: Result) -> object:
    count = result.source.left_out
    if not count:
        return ""
    what = "area was" if count == 1 else "areas or files were"
    return tag("p", f"NOT PRICED: {count:,} {what} left out; see below.", class_="lead")


# ------------------------------------------------------------------------------------- figures


def _figures(result: Result) -> object:
    rows = [tag("div", tag("dt", word), tag("dd", value)) for word, value in figures(result)]
    return section("The figures that matter", tag("dl", *rows))


def figures(result: Result) -> list[tuple[str, str]]:
    """Word and value of the figures that matter: of a comparison of water its answer first."""
    answer = [(word.strip(), value) for word, value in _answer(result)]
    return [*answer, *_of_bid(result)][:_FIGURES]


def _answer(result: Result) -> list[tuple[str, str]]:
    """The answer's own figures, without how it is made up of conversions."""
    if result.water is None:
        return []
    parts = {part["title"] for part in result.water.summary["conversions"]}
    return [row for row in planner.facts(result) if row[0].strip() not in parts]


def _of_bid(result: Result) -> Iterator[tuple[str, str]]:
    said = {word.strip(): value for word, value in tables.summary(result)}
    if not result.any_turf:
        yield from said.items()
        return
    price = result.price.totals["price"]
    currency = result.bid.currency
    us = result.bid.units == "us"
    ground_m2 = float(result.ground.areas["ground_area_m2"].sum())
    each = float(price) / (ground_m2 / FT2_M2 if us else ground_m2)
    word = tables.price_word(result)
    yield word, said[word]
    yield f"price a {'ft²' if us else 'm²'} of ground", f"{each:,.2f} {currency}"
    if result.price.lot_by_lot is not None:
        yield "price, were every property bought alone", f"{result.price.lot_by_lot:,} {currency}"
    yield "properties and areas", f"{said['sites']} and {said['areas']}"
    yield "ground", powers(said["ground area"])
    yield "turf bought", powers(said["turf bought"])
    yield "waste over the ground", said["waste over the ground"]
    yield "over the proven bound", said["over the proven bound"]
    yield "rolls and lengths", said["rolls and lengths"]
    yield "crew-hours", f"{_crew_hours(result):,.0f}"


def _crew_hours(result: Result) -> float:
    items = result.takeoff.items
    labour = items["key"].map({key: item.kind == "labour" for key, item in ITEMS.items()})
    return float(items.loc[labour & (items["scope_kind"] == "pool"), "net"].sum())


# --------------------------------------------------------------------------------------- files


def _files(result: Result, written: Iterable[str]) -> object:
    """Links to what there is, by reader; tables folded below."""
    meant = {row["file"]: row["meaning"] for row in data.rows_of("files")}
    by: dict[str, list[object]] = {}
    for path in sorted(written, key=lambda path: (path.endswith(".csv"), path)):
        said = ""
        if path in meant:
            said = f": {meant[path]}"
        link = tag("span", tag("a", path, href=path), said)
        by.setdefault(reader(path), []).append(link)
    parts: list[object] = [] if result.any_turf else [tag("p", _NO_TURF)]
    for who, title in _READERS.items():
        if who in by:
            parts += [tag("h3", title), bullets(by[who])]
    if "tables" in by:
        parts.append(folded("Tables and data", bullets(by["tables"])))
    return section("What there is, and for whom", *parts)


def reader(path: str) -> str:
    """Whose a file is: its folder's, or what its name at the top says; else it is one of the
    tables."""
    first, *rest = PurePosixPath(path).parts
    stem = PurePosixPath(first).stem
    name = first if rest else _OF.get(stem, stem)
    is_table = not rest and PurePosixPath(path).suffix not in _PAGES
    if is_table or name not in _READERS:
        return "tables"
    return name


# ------------------------------------------------------------------------------------ findings


def _findings(result: Result) -> object:
    """Errors and warnings, a kind once, with what to do; of notes how many."""
    asked = _by_code(one for one in result.findings if one.severity != "note")
    notes = sum(one.severity == "note" for one in result.findings)
    told = [_kind(some) for some in list(asked.values())[:_MOST]]
    none = "None: nothing was left out, and nothing odd was met."
    first = bullets(told) if told else tag("p", none)
    every = tag("a", "findings.csv", href="findings.csv")
    return section(
        "Findings that want an answer", first, note(f"All, and {notes:,} notes, stand in ", every)
    )


def _by_code(findings: Iterable[Finding]) -> dict[str, list[Finding]]:
    """By kind, errors first."""
    out: dict[str, list[Finding]] = {}
    for one in sorted(findings, key=lambda one: one.severity):
        out.setdefault(one.code, []).append(one)
    return out


def _kind(findings: list[Finding]) -> object:
    """The first of a kind, how many more there are, what to do."""
    mend = {row["code"]: row["mend"] for row in data.rows_of("codes")}.get(findings[0].code, "")
    more = ""
    if len(findings) > 1:
        more = f" And {len(findings) - 1:,} more like it."
    done = f" What to do: {mend}." if mend else ""
    return f"{findings[0].line()}.{more}{done}"


def _assumptions(result: Result) -> object:
    """Figures that the bid does not give, and what was taken where the data say nothing."""
    bid = result.bid
    lines = result.price.lines
    tables_ = assumed.where_to_give(bid, lines)
    parts: list[object] = []
    if tables_:
        said = f"{assumed.share(bid, lines)} are geoturf's own; give yours in:"
        parts += [tag("p", said), bullets(tables_)]
    notes = _by_code(one for one in result.findings if one.severity == "note")
    own = [f"{_said(some)}" for code, some in notes.items() if not code.startswith("assumed-")]
    if own:
        parts.append(folded(f"Noted on the way ({len(own)})", bullets(own[:_MOST])))
    if parts:
        return section("What was assumed", *parts)
    return ""


def _said(findings: list[Finding]) -> str:
    more = ""
    if len(findings) > 1:
        more = f" (and {len(findings) - 1:,} more like it)"
    return f"{findings[0].line().removeprefix('note: ')}{more}"


def _cautions(result: Result) -> object:
    cautions = list(result.takeoff.cautions)
    cautions += [
        one for one in (result.water.cautions if result.water else ()) if one not in cautions
    ]
    if cautions:
        return section("Cautions", folded("Before any work", bullets(cautions)))
    return ""
