"""What a crew lays by: a sheet a house plan, and one for each lot that is like no other. A sheet
has each area drawn to scale once; which roll each piece of a lot comes from stands lot by lot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from geoturf import by_plan
from geoturf.model import Result
from geoturf.papers.crew import alike, drawing, heads, lettering, lots, steps, views, wording
from geoturf.papers.crew.alike import Alike
from geoturf.papers.crew.laying import Line, Mark, Run, layings, slanted
from geoturf.papers.crew.lots import Lot, Taken
from geoturf.papers.crew.views import Block, Page, Placed, Room, Told
from geoturf.rules.items import ITEMS
from geoturf.units import SYSTEMS, System, powers

ROOMS = {"letter": Room(183.0, 232.0), "a4": Room(177.0, 250.0)}  # of a page below its legend
_HEAD_MM, _FOOT_MM = 8.0, 9.0  # of a sheet: its heading more than on other pages; steps, cautions
_ROW_MM = 2.75  # of the lists
_LETTERS_A_MM = 0.78  # of the lists' text
_LETTER_MM = 1.25  # of a piece and its roll, which stand in columns
_NAME_MM = 56.0  # of a lot's rows: its name and phase, and its drawing, at most
_SHORT = 4  # pieces of a list below a drawing that stand in one column
_BESIDE_MM = {True: 72.0, False: 56.0}  # least width of a list: with pieces and rolls, without
_SLANTED_MM = 12.0  # more where ends slant
_COLUMNS, _LONG = 4, 75  # of the list of lots: side by side, lines of each
_LEAD = 30  # letters of the word that a caution begins with, at most
_SAME_DEG = 0.5  # bearings that differ by less have one north arrow


class Sheet(NamedTuple):
    """Lots of one plan, or a lot alone, and the drawings of their areas."""

    name: str
    plan: str
    lots: list[Lot]
    drawings: list[Alike]
    titles: list[str]  # of the drawings

    @property
    def shared(self) -> bool:
        return len(self.lots) > 1


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_sheets``."""
    system = SYSTEMS[result.bid.units]
    made = sheets(result)
    taken = lots.taken(result)
    return {
        "page": result.bid.page,
        "title": f"{result.bid.name}: laying sheets",
        "running": f"{result.bid.name}: laying sheets",
        "name": result.bid.name,
        "metric": system.name == "metric",
        "slanted": slanted(result),
        "sloped": bool((result.ground.areas["laid_stretch"] != 1).any()),
        "cautions": [_lead(text) for text in result.takeoff.cautions],
        "steps": [list(step) for step in steps.laying(result)],
        "where": _where(result, made),
        "sheets": [_told(result, one, taken, system) for one in made],
    }


def sheets(result: Result) -> list[Sheet]:
    """In the order in which their first lots are worked."""
    laid = layings(result)
    land = result.ground.areas
    system = SYSTEMS[result.bid.units]
    products = land["product"].astype(str).tolist()
    plans = land["plan"].astype(str).tolist() if "plan" in land else [""] * len(land)
    by_name: dict[tuple[str, ...], list[Lot]] = {}
    for lot in lots.of(result):
        plan = plans[lot.areas[0]]
        by_name.setdefault((plan,) if plan else ("", *lot[:2]), []).append(lot)
    out = []
    for (plan, *_), some in by_name.items():
        areas = [area for lot in some for area in lot.areas]
        drawings = alike.groups(((laid[k], products[k]) for k in areas), system)
        name = plan if len(some) > 1 else some[0].site
        titles = _titles(drawings, land["area"].astype(str).tolist(), len(some) > 1)
        out.append(Sheet(name, plan, some, drawings, titles))
    return out


def _titles(drawings: Sequence[Alike], areas: Sequence[str], shared: bool) -> list[str]:
    """An area's name, and which of its layouts this is where the sheet has several."""
    names = [{areas[one.area_index] for one in group.layings} for group in drawings]
    common = [some.pop() if len(some) == 1 else "lawn" for some in names]
    if not shared:
        return common
    count: Counter[str] = Counter()
    out: list[str] = []
    for name, group in zip(common, drawings, strict=True):
        if group.mirror < 0 or out[group.mirror].endswith(_MIRRORED):
            count[name] += 1
            out.append(f"{name}, layout {count[name]}")
        else:
            out.append(out[group.mirror] + _MIRRORED)
    return out


_MIRRORED = " mirrored"


def _lead(caution: str) -> tuple[str, str]:
    """What a caution is about, and the rest of it."""
    lead, colon, rest = caution.partition(": ")
    if colon and len(lead) < _LEAD:
        return (lead, rest)
    return ("", caution)


def _where(result: Result, made: Sequence[Sheet]) -> list[list[list[Any]]]:
    """Each lot in the order of work, with the number of its sheet from 0 and the sheet's name: by
    column, as many of them as stand side by side. None for a lot alone."""
    of = {lot: k for k, sheet in enumerate(made) for lot in sheet.lots}
    every = [[lot.site, of[lot], made[of[lot]].name] for lot in lots.of(result)]
    if len(every) == 1:
        return []
    pages = [every[k : k + _COLUMNS * _LONG] for k in range(0, len(every), _COLUMNS * _LONG)]
    out = []
    for page in pages:
        long = -(-len(page) // _COLUMNS)
        out += [page[k * long : (k + 1) * long] for k in range(_COLUMNS)]
    return out


# ------------------------------------------------------------------------------------------ a sheet


def _told(
    result: Result, sheet: Sheet, taken: dict[tuple[str, str], list[Taken]], system: System
) -> dict[str, Any]:
    areas = [
        _area(result, sheet, group, title, system)
        for group, title in zip(sheet.drawings, sheet.titles, strict=True)
    ]
    told = [
        Told(group.layings[0], _Height(area, sheet.shared), _least_mm(result, sheet))
        for group, area in zip(sheet.drawings, areas, strict=True)
    ]
    rows = _lots(result, sheet) if sheet.shared else []
    items = _items([(lot.site, taken.get((lot.phase, lot.site), [])) for lot in sheet.lots])
    differences = _differences(result, sheet)
    room = ROOMS[result.bid.page]
    first = room.high - _HEAD_MM - _FOOT_MM - _lists_mm(rows, items, differences, room.wide)
    sizes = [views.sizes(one, room, system) for one in told]
    found = list(views.pages(sizes, max(first, 0.0), room, system))
    last = not sheet.shared and len(found) > 1  # what a lot takes stands after its drawings then
    if last:
        found = list(views.pages(sizes, room.high - _HEAD_MM, room, system))
    by_area = {
        group.layings[0].area_index: area for group, area in zip(sheet.drawings, areas, strict=True)
    }
    return {
        "name": sheet.name,
        "about": _about(sheet),
        "differences": differences,
        "lots": rows,
        "items": items,
        "last": last,
        "pages": [_page(page, by_area, room, system) for page in found],
    }


def _about(sheet: Sheet) -> str:
    """What stands beside the heading."""
    if sheet.shared:
        return f"{len(sheet.lots)} lots of this house plan"
    phase = f"phase {sheet.lots[0].phase}"
    if sheet.plan:
        return f"house plan {sheet.plan}, {phase}"
    return phase


def _differences(result: Result, sheet: Sheet) -> str:
    """How lots of a plan differ, as `plans.csv` has it."""
    if not sheet.shared:
        return ""
    rows = np.array(sorted(k for lot in sheet.lots for k in lot.areas))
    return powers(by_plan.differences(result, rows))


def _lots(result: Result, sheet: Sheet) -> list[dict[str, Any]]:
    """Which drawing each area of a lot has, where its pile leans, and its pieces in laying order
    with their rolls."""
    of = {
        one.area_index: (title, one)
        for title, group in zip(sheet.titles, sheet.drawings, strict=True)
        for one in group.layings
    }
    rows: list[dict[str, Any]] = []
    for lot in sheet.lots:
        areas: list[dict[str, Any]] = []
        for row in lot.areas:
            title, one = of[row]
            pieces = [
                f"{number} {piece.piece} {piece.roll}" for number, piece in enumerate(one.pieces, 1)
            ]
            drawn = f"{title}, pile to {one.bearing_deg:.0f}°"
            areas.append({"drawn": drawn, "pieces": pieces})
        rows.append(
            {
                "site": lot.site,
                "phase": lot.phase,
                "areas": areas,
            }
        )
    named = [f"{row['site']}, {row['phase']}" for row in rows]
    drawings = [area["drawn"] for row in rows for area in row["areas"]]
    pieces_named = [text for row in rows for area in row["areas"] for text in area["pieces"]]
    site_mm = _wide(named, _NAME_MM)
    drawn_mm = _wide(drawings, _NAME_MM)
    most = ROOMS[result.bid.page].wide - site_mm - drawn_mm
    return [row | {"wide": [site_mm, drawn_mm, _wide(pieces_named, most)]} for row in rows]


def _wide(texts: Iterable[str], most: float) -> float:
    """Of a column, mm."""
    longest = max(map(len, texts), default=0)
    return round(min(longest * _LETTER_MM + 2.0, most), 1)


def _items(by_lot: Sequence[tuple[str, list[Taken]]]) -> list[list[str]]:
    """What a lot takes: item, net and brought; of several lots from the least to the most, and what
    most of them bring. A service, such as what is dug and hauled away, is not brought."""
    found: dict[tuple[str, str], list[tuple[str, Taken]]] = {}
    for site, items in by_lot:
        for one in items:
            found.setdefault((one.key, one.title), []).append((site, one))
    rows = []
    for (key, title), mine in found.items():
        brought = {site: one.brought for site, one in mine}
        bring = ("", "")
        if ITEMS[key].kind != "service":
            bring = _each([(site, brought.get(site, "none")) for site, _ in by_lot])
        rows.append([title, _range([(one.amount, one.net) for _, one in mine]), *bring])
    return rows


def _each(by_lot: Sequence[tuple[str, str]]) -> tuple[str, str]:
    """What holds for most lots, and where it is otherwise."""
    counts = Counter(text for _, text in by_lot)
    usual = max(counts, key=counts.__getitem__)
    others: dict[str, list[str]] = {}
    for site, text in by_lot:
        if text != usual:
            others.setdefault(text, []).append(site)
    return usual, "; ".join(f"{text} on {', '.join(sites)}" for text, sites in others.items())


def _range(amounts: Iterable[tuple[float, str]]) -> str:
    """The least and the most, as they are told."""
    ordered = [text for _, text in sorted(amounts)]
    if ordered[0] == ordered[-1]:
        return ordered[0]
    return f"{ordered[0].split(' ')[0]} to {ordered[-1]}"


# ------------------------------------------------------------------------------------------ an area


def _area(result: Result, sheet: Sheet, group: Alike, title: str, system: System) -> dict[str, Any]:
    """An area's list: of the first where it is drawn for several, with what is otherwise on
    them."""
    land = result.ground.areas
    first = group.layings[0]
    rows = [one.area_index for one in group.layings]
    name = land["product"].to_numpy()[rows[0]]
    product = result.bid.products[name]
    sites = list(map(str, land["site"].to_numpy()[rows]))
    surface = land["surface_area_m2"].to_numpy()[rows].tolist()
    pieces = [
        [f"{number}", *([] if sheet.shared else [piece.piece, piece.roll]), size]
        for number, piece in enumerate(first.pieces, 1)
        for size in [wording.cut_size(piece, system)]
    ]
    bearings = {round(one.bearing_deg / _SAME_DEG) for one in group.layings}
    return {
        "title": title,
        "product": f"{name}, {powers(product.title)}",
        "ground": powers(_range((area_m2, system.area(area_m2, 0)) for area_m2 in surface)),
        "bearing": f"{first.bearing_deg:.0f}" if len(bearings) == 1 else "",
        "on": f"{len(rows)} of {len(sheet.lots)} lots" if sheet.shared else "",
        "pieces": pieces,
        "lines": [_line(line, system) for line in first.lines],
        "runs": _runs(group, sites, system),
        "holds": _holds(result, rows, sites, system),
    }


def _runs(group: Alike, sites: Sequence[str], system: System) -> list[list[str]]:
    """Kind, length, nails and where there are others, of each run that is nailed."""
    first = group.layings[0]
    told = []
    for k, run in enumerate(first.runs):
        same = [one.runs[order[k]] for one, order in zip(group.layings, group.runs, strict=True)]
        if any(one.fasteners for one in same):
            nails = _each([*zip(sites, map(_nails, same), strict=True)])
            told.append([run.kind, system.tape(run.laid_m), *nails])
    return told


def _nails(run: Run) -> str:
    return f"{run.fasteners:,.0f}"


def _holds(
    result: Result, rows: Sequence[int], sites: Sequence[str], system: System
) -> list[list[str]]:
    """What holds an area's turf: word, quantity and where it is another."""
    by_lot = [dict(lots.fasteners(result, row, system)) for row in rows]
    words = dict.fromkeys(word for held in by_lot for word in held)
    return [
        [word, *_each([(s, held.get(word, "none")) for s, held in zip(sites, by_lot, strict=True)])]
        for word in words
    ]


def _line(line: Line, system: System) -> dict[str, Any]:
    start, end = line.marks
    return {
        "name": f"{start.name}-{end.name}",
        "cross": line.seam.cross,
        "length": system.tape(line.seam.length_m),
        "marks": [_mark(mark, system) for mark in line.marks],
    }


def _mark(mark: Mark, system: System) -> str:
    tapes = [
        f"{system.tape(tie.length_m)} from {tie.name} ({tie.corner.what})" for tie in mark.ties
    ]
    how = "along the edge " if len(tapes) == 1 else ""
    return f"{mark.name}: {how}{' and '.join(tapes)}"


# ------------------------------------------------------------------------------------------ heights


@dataclass(frozen=True)
class _Height:
    """About how high an area's list stands in a width, both in mm."""

    area: dict[str, Any]
    shared: bool

    def __call__(self, wide: float) -> float:
        area = self.area
        letters = wide * _LETTERS_A_MM
        about = area["title"] + area["product"] + area["ground"] + area["on"]
        words = [f"{about:60}", *(", ".join(line["marks"]) + 30 * " " for line in area["lines"])]
        words += ["".join(map("".join, area["holds"])) + 20 * " "]
        words += ["".join(f"{''.join(run)}    " for run in area["runs"]) + 15 * " "]
        told = sum(1.15 * np.ceil(len(text) / letters) for text in words)
        columns = columns_of(area, wide)
        pieces = np.ceil(len(area["pieces"]) / columns)
        if not self.shared:
            room = (wide / columns - 45) * _LETTERS_A_MM
            longest = max((len(row[1]) + 6 for row in area["pieces"]), default=0)
            pieces *= max(1, np.ceil(longest / max(room, 4)))
        return float(told + pieces + 2.5) * _ROW_MM


def columns_of(area: dict[str, Any], wide: float) -> int:
    """Of the list of an area's pieces."""
    if wide > 2 * _BESIDE_MM[True] and len(area["pieces"]) > _SHORT:
        return 2
    return 1


def _least_mm(result: Result, sheet: Sheet) -> float:
    return _BESIDE_MM[not sheet.shared] + _SLANTED_MM * slanted(result)


def _lists_mm(
    rows: list[dict[str, Any]], items: list[list[str]], differences: str, wide: float
) -> float:
    """About how high what stands above and below the drawings of a sheet's first page is."""
    letters = wide * _LETTERS_A_MM
    high = np.ceil(len(differences) / letters)
    for row in rows:
        site_mm, drawn_mm, piece_mm = row["wide"]
        abreast = max(1, int((wide - site_mm - drawn_mm) / piece_mm))
        name = np.ceil((len(row["site"]) + len(row["phase"]) + 2) * _LETTER_MM / site_mm)
        drawn = [np.ceil(len(area["drawn"]) * _LETTER_MM / drawn_mm) for area in row["areas"]]
        lines = [np.ceil(len(area["pieces"]) / abreast) for area in row["areas"]]
        high += max(name, sum(map(max, drawn, lines))) + 0.4
    noted = sum(np.ceil(len(row[3]) / letters) for row in items if row[3])
    return float(high + np.ceil(len(items) / 2) + noted + 5) * _ROW_MM


# -------------------------------------------------------------------------------------------- pages


def _page(
    page: Page, areas: dict[int, dict[str, Any]], room: Room, system: System
) -> dict[str, Any]:
    blocks = [_block(one, areas[one.told.laying.area_index], room, system) for one in page.blocks]
    placed = [_detail(one, areas[one.drawn.laying.area_index], system) for one in page.placed]
    high = max((one.y + one.drawn.view.size[1] for one in page.placed), default=0.0)
    return {
        "blocks": blocks,
        "details": placed,
        "height": high,
    }


def _block(one: Block, area: dict[str, Any], room: Room, system: System) -> dict[str, Any]:
    laying = one.told.laying
    view = one.view
    wide = max(view.size[0], views.HEAD_MM)
    list_mm = room.wide
    if one.beside:
        list_mm = room.wide - wide - views.GAP_MM
    drawn = drawing.drawn(laying, view, one.details, system, not area["on"])
    return {
        "drawing": _headed(drawn, area, area["title"], wide),
        "beside": one.beside,
        "breaks": bool(one.height > room.high),
        "wide": round(wide, 2),
        "columns": columns_of(area, list_mm),
        "area": area,
    }


def _detail(one: Placed, area: dict[str, Any], system: System) -> dict[str, Any]:
    laying, view, name = one.drawn
    drawn = drawing.drawn(laying, view, (), system, not area["on"])
    wide = round(max(view.size[0], views.HEAD_MM), 2)
    place = {"x": one.x, "y": one.y, "wide": wide}
    return place | _headed(drawn, area, f"{area['title']}, {name}", wide)


def _headed(
    drawn: dict[str, Any], area: dict[str, Any], title: str, wide_mm: float
) -> dict[str, Any]:
    """A drawing with its title and what is written; without north where it serves lots that lie
    otherwise."""
    titled = drawn | {"title": title, "north": drawn["north"] if area["bearing"] else None}
    words = {"head": heads.head(title, titled, wide_mm), "layers": lettering.layers(drawn)}
    return titled | words
