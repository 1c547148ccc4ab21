"""The crew's papers, read back: every piece once, sizes and counts as in the tables, lines that a
tape finds, no money."""

import io
import json
import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from math import ceil, floor, hypot

import geopandas
import numpy as np
import pandas as pd
import pypdf
import pytest
import shapely
import shapely.affinity
from shapely.geometry import Point, Polygon, box

import geoturf
from geoturf import papers, plane, spots, tables
from geoturf.engine import Processes
from geoturf.papers import letters, press
from geoturf.papers.crew import (
    cut_list,
    drawing,
    heads,
    labels,
    laying,
    lettering,
    load_list,
    lots,
    sheets,
    to_scale,
    views,
)
from geoturf.rules.calendar import TASKS, CalendarRules
from geoturf.rules.items import ITEMS
from geoturf.units import METRIC, US

FOOT = 0.3048
X, Y = 250_000.0, 4_070_000.0  # in UTM zone 11 north
HOSTILE = '#import "x" $x$ \\ [b] *c* _d_ @e <f> </script>'
MODULES = {"sheets": sheets, "cut_list": cut_list, "labels": labels, "load_list": load_list}


def lot(folder, areas, buildings=(), paving=(), columns=(), **bid):
    """A run of ``areas``, rows of site, area and shape, with what is built; all in feet. Other
    ``columns`` of theirs in place of a pile to the north."""

    def placed(shape):
        return shapely.transform(shape, lambda xy: xy * FOOT + (X, Y))

    def layer(name, columns, shapes):
        table = geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:26911")
        table.to_file(folder / f"{name}.gpkg")
        return {"path": f"{name}.gpkg"}

    site, area, shapes = zip(*areas, strict=True)
    given = columns or {"pile_bearing_deg": [0.0] * len(site)}
    layers = [
        layer("turf", {"site": site, "area": area} | given, [placed(shape) for shape in shapes])
    ]
    for role, things in (("building", buildings), ("paving", paving)):
        if things:
            layers.append(layer(role, {}, [placed(one) for one in things]) | {"role": role})
    return geoturf.run(geoturf.make_bid({"layers": layers, "folder": str(folder)} | bid))


YARD = [  # a back yard about a terrace, a front yard with a tree, and a round lawn of the next lot
    ("one", "back", box(0, 0, 44.5, 38) - box(10, 0, 26, 9)),
    ("one", "front", box(0, 90, 20, 121.5) - Point(10, 105).buffer(2)),
    (HOSTILE, "round", Point(100, 20).buffer(19)),
]
BUILT = {"buildings": [box(4, -30, 40, 0)], "paving": [box(10, 0, 26, 9), box(20, 90, 30, 121.5)]}


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    return lot(tmp_path_factory.mktemp("yard"), YARD, **BUILT)


@pytest.fixture(scope="module")
def read(yard):
    """The yard's papers, read back."""
    return {name: printed(yard, name) for name in MODULES}


def printed(result, name):
    pdf = press.printed(f"crew_{name}", MODULES[name].data(result))
    return pypdf.PdfReader(io.BytesIO(pdf))


def text_of(pages):
    words = " ".join(page.extract_text() for page in pages).replace("\u200b", "")
    return " ".join(words.split())


def sheets_of(reader):
    """The text of each lot's sheet: from its heading to the next."""
    heads = [item for item in reader.outline if not isinstance(item, list)]
    starts = [reader.get_destination_page_number(item) for item in heads] + [len(reader.pages)]
    return [text_of(reader.pages[a:b]) for a, b in pairwise(starts[1:])]


def blocks_of(sheet):
    return [block for page in sheet["pages"] for block in page["blocks"]]


def drawings_of(sheet):
    """All of a sheet: areas whole, then details."""
    details = [one for page in sheet["pages"] for one in page["details"]]
    return [block["drawing"] for block in blocks_of(sheet)] + details


def loaded(result):
    """Pieces and items that are brought to each site, on whatever day."""
    out = {}
    for lot in (lot for day in load_list.data(result)["days"] for lot in day["lots"]):
        pieces, items = out.setdefault(lot["site"], ([], []))
        pieces += lot["pieces"]
        items += lot["items"]
    return out


def squeezed(text):
    return "".join(text.split())


def count(word, text):
    """How often ``word`` stands in ``text`` by itself: Q-1-2 is not Q-1-20."""
    return len(re.findall(rf"(?<![\w-]){re.escape(word)}(?![\w-])", text))


def tape(feet):
    """Feet as text, by fractions: to the quarter inch up."""
    quarters = ceil(Fraction(feet).limit_denominator(10_000) * 48 - Fraction(1, 50))
    whole, inches = divmod(Fraction(quarters, 4), 12)
    part = inches - floor(inches)
    told = " ".join(
        [f"{floor(inches)}"] * (floor(inches) > 0 or not part) + [f"{part}"] * bool(part)
    )
    return (f"{whole}' " if whole else "") + f'{told}"'


@pytest.mark.parametrize("quarters", [0, 1, 3, 4, 47, 48, 49, 96, 1213])
def test_a_tape_is_read_in_feet_inches_and_quarters(quarters):
    assert US.tape(quarters * FOOT / 48) == tape(Fraction(quarters, 48))
    assert US.tape((quarters + 0.4) * FOOT / 48) == tape(Fraction(quarters, 48))
    assert US.tape((quarters + 0.1) * FOOT / 48, up=True) == tape(Fraction(quarters + 1, 48))


def test_a_tape_is_read_in_whole_millimetres():
    assert METRIC.tape(1.2344) == "1234 mm" and METRIC.tape(1.2341, up=True) == "1235 mm"
    assert US.tape(-0.3048) == "-1' 0\"" and METRIC.tape(-0.0001) == "0 mm"


def test_every_piece_is_on_its_lots_sheet_once_in_the_cut_list_and_has_one_label(yard, read):
    pieces = tables.pieces(yard)
    lots = {sheet.partition(" phase")[0]: sheet for sheet in sheets_of(read["sheets"])}
    by_site = {squeezed(site): text for site, text in lots.items()}
    assert len(lots) == yard.ground.areas["site"].nunique()
    cut, label = (text_of(read[name].pages) for name in ("cut_list", "labels"))
    for piece, site in zip(pieces["piece"], pieces["site"], strict=True):
        on = [name for name, text in by_site.items() if squeezed(piece) in squeezed(text)]
        assert on == [squeezed(site)]
        assert squeezed(cut).count(squeezed(piece)) >= 1
    for piece in pieces["piece"][pieces["site"] == "one"]:
        assert count(piece, cut) == count(piece, label) == 1
    assert squeezed(label).count("of") >= len(pieces)


def test_sizes_on_the_sheet_are_those_of_the_pieces_to_the_quarter_inch(yard, read):
    sheet, cut = (text_of(read[name].pages) for name in ("sheets", "cut_list"))
    for row in tables.pieces(yard).itertuples():
        size = f"{tape(row.length_ft)} x {tape(row.width_ft)}"
        assert squeezed(f"{row.piece} {row.roll} {size}") in squeezed(sheet)
        ends = (row.along_ft, row.along_ft + row.length_ft, row.across_ft)
        at = [tape(end - 1 / 96) for end in ends]  # to the nearest: an eighth less, then up
        told = (row.piece, *at, tape(row.length_ft), tape(row.width_ft), row.site)
        assert squeezed(" ".join(told)) in squeezed(cut)


def test_running_lengths_are_drawn_where_the_roll_is_cut(yard):
    for roll in cut_list.data(yard)["rolls"]:
        drawn = roll["drawing"]
        told = {one["text"]: one["at"] for one in drawn["left"]}
        assert set(told) == {text for row in roll["rows"] for text in row[2:4]}
        ends = {x for piece in drawn["pieces"] for x, _ in piece["corners"]}
        assert all(min(abs(at - end) for end in ends) < 0.02 for at in told.values())


def test_nails_and_bags_are_those_of_the_tables(yard, read):
    areas, materials = tables.areas(yard), tables.materials_by_site(yard)
    told = {
        (one["name"], block["area"]["title"]): block["area"]
        for one in sheets.data(yard)["sheets"]
        for block in blocks_of(one)
    }
    text = text_of(read["sheets"].pages)
    for row in areas.itertuples():
        runs = told[row.site, row.area]["runs"]
        assert sum(int(nails.replace(",", "")) for *_, nails, _ in runs) == row.perimeter_fasteners
        assert f"apart: {row.perimeter_fasteners:,};" in text
        assert f"both ways: {row.field_fasteners:,}" in text
    load = {site: items for site, (_, items) in loaded(yard).items()}
    for row in materials[
        materials["item"].isin(["Infill", "Turf nails", "Seam tape"])
    ].itertuples():
        item = next(one for one in load[row.site] if one[0] == row.item)
        assert item[2].split()[0] == f"{row.order_alone:,}"
        assert float(item[1].split()[0].replace(",", "")) == pytest.approx(
            row.net_quantity, abs=0.06
        )


def test_weights_are_area_by_weight_of_the_turf_and_packages_by_theirs(yard):
    first, items = loaded(yard)["one"]
    pieces = tables.pieces(yard).set_index("piece")
    for piece, _, _, pounds in first:  # 60 and 30 oz/yd2: 90 / 16 / 9 lb/ft2
        size = pieces.loc[piece, "length_ft"] * pieces.loc[piece, "width_ft"]
        assert pounds == f"{ceil(size * 90 / 16 / 9 - 1e-3):,} lb"
    bags = next(one for one in items if one[0] == "Infill")
    assert bags[3] == f"{50 * int(bags[2].split()[0]):,} lb"


def placed_marks(result):
    for one in laying.layings(result):
        for line in one.lines:
            yield one, line


def test_a_mark_is_where_its_tapes_say(yard):
    """By circles about the corners, and by the border: not by what found the tapes."""
    seen = set()
    for one, line in placed_marks(yard):
        for mark in line.marks:
            at = Point(mark.u, mark.v)
            assert shapely.boundary(one.shape).distance(at) < 0.02
            circles = [
                Point(tie.corner.u, tie.corner.v).buffer(tie.length_m, quad_segs=4096).exterior
                for tie in mark.ties
            ]
            assert all(circle.distance(at) < 1e-3 for circle in circles)
            seen.add(len(circles))
            if len(circles) == 2:  # they cross, and do not merely touch
                meet = shapely.get_parts(circles[0].intersection(circles[1]))
                assert min(p.distance(at) for p in meet) < 1e-2
    assert seen == {1, 2}


def test_seams_lie_as_far_from_the_line_as_is_written(tmp_path):
    """Strips are 14 ft 10 in wide, a 15 ft roll without an inch of selvage a side; the lawn, turned
    by a degree from grid north, lacks 7 in of four, which one of them has less."""
    result = lot(tmp_path, [("A", "1", box(0, 0, 58, 40))], layout={"bearing": 0.0})
    (one,) = laying.layings(result)
    (line,) = one.lines
    offsets = [abs(line.offset_m(seam)) for seam in line.others if not seam.cross]
    strip = 14 * FOOT + 10 * FOOT / 12
    assert len(offsets) == 2
    assert all(-0.6 * FOOT < offset - round(offset / strip) * strip < 1e-6 for offset in offsets)
    away = {US.tape(offset) for offset in offsets}
    (drawn,) = drawings_of(sheets.data(result)["sheets"][0])
    told = [dim["text"] for dim in drawn["dims"]]
    assert set(told) >= {"1-2", *away}
    assert all(text in text_of(printed(result, "sheets").pages) for text in told)


def test_house_and_walk_corners_come_first(yard):
    back = next(
        one for one in laying.layings(yard) if yard.ground.areas["area"][one.area_index] == "back"
    )
    front = [mark for line in back.lines for mark in line.marks]
    corners = {tie.corner.what for mark in front for tie in mark.ties}
    assert corners & {"house corner", "walk corner"}


def test_drawings_are_to_scale_and_turned_so_that_north_is_nearly_up(yard):
    for one in laying.layings(yard):
        for scale in to_scale.scales(US)[2:20:6]:
            view = to_scale.View(
                laying.window_of(one.shape), to_scale.turns_of(one.bearing_deg), scale
            )
            data = drawing.drawn(one, view, (), US)
            paths = data["paths"]["piece"]
            drawn = sorted(np.ptp(np.array(path), axis=0).max() for path in paths)
            real = sorted(max(p.u1 - p.u0, p.v1 - p.v0) for p in one.pieces)
            ratio = float(scale.text.partition("1:")[2].rstrip(")"))
            assert np.allclose(drawn, np.array(real) * 1000 / ratio, atol=0.02, rtol=0.005)
            assert abs(data["north"]) <= 45


@pytest.mark.parametrize("bearing", range(0, 360, 30))
def test_the_page_is_the_ground_turned(bearing):
    """North on the page, from the page's own points, against the bearing."""
    turns = to_scale.turns_of(bearing)
    view = to_scale.View((0.0, 0.0, 30.0, 20.0), turns, to_scale.scales(METRIC)[4])
    a = np.radians(bearing)
    (x0, y0), (x1, y1) = view.page([10, 10 + np.cos(a)], [10, 10 - np.sin(a)])  # a metre north
    north = np.degrees(np.arctan2(x1 - x0, y0 - y1))
    assert north == pytest.approx((90 * turns - bearing + 180) % 360 - 180, abs=1e-6)
    assert abs(north) <= 45.001
    assert view.box((2.0, 3.0, 7.0, 8.0)) == pytest.approx(
        [*view.page([2, 7], [3, 8]).min(axis=0), *view.page([2, 7], [3, 8]).max(axis=0)]
    )


def test_what_cannot_be_read_whole_is_drawn_larger(tmp_path):
    """A long strip sold in short rolls: its whole has no room for the small pieces' sizes."""
    short = {"turf60": {"roll_lengths": "25 ft", "sold_by": "roll"}}
    result = lot(tmp_path, [("A", "1", box(0, 0, 33, 900))], products=short)
    drawings = drawings_of(sheets.data(result)["sheets"][0])
    labels = {
        label["number"]: label["lines"]
        for one in drawings
        for label in one["labels"]
        if label["lines"]
    }
    assert len(drawings) > 1 and drawings[0]["details"]
    assert set(labels) == {f"{k}" for k in range(1, len(result.plan.pieces) + 1)}
    for one in drawings:
        room = sheets.ROOMS["letter"]
        assert one.get("x", 0) + one["width"] <= room.wide and one["height"] <= room.high


def test_heads_of_drawings_side_by_side_stand_apart(tmp_path):
    """Two narrow details in a row, the first with a name of 48 letters, read back word by word: all
    that is above the first ends before the second's begins, and stands above the drawing."""
    short = {"turf60": {"roll_lengths": "25 ft", "sold_by": "roll"}}
    result = lot(tmp_path, [("A", "1", box(0, 0, 33, 900))], products=short)
    data = sheets.data(result)
    page = next(page for page in data["sheets"][0]["pages"] if page["details"])
    one = page["details"][0] | {"x": 0.0, "y": views.TITLE_MM, "wide": views.HEAD_MM}
    one |= {"bar": [to_scale.BAR_MM, "20 ft"], "north": 15.0}
    second = views.HEAD_MM + views.GAP_MM
    long = f"{'front yard between the walk and the old oak tree'[:48]}, layout 12, detail 3"
    page["details"] = [
        one | {"head": heads.head(long, one, views.HEAD_MM)},
        one | {"x": second, "head": heads.head("zebra", one, views.HEAD_MM)},
    ]
    pdf = pypdf.PdfReader(io.BytesIO(press.printed("crew_sheets", data)))
    sheet = next(sheet for sheet in pdf.pages if "zebra" in sheet.extract_text())
    words = []
    sheet.extract_text(visitor_text=lambda text, cm, tm, *_: words.append((text.strip(), cm, tm)))
    at = {text: (cm[0] * tm[4] + cm[4], cm[3] * tm[5] + cm[5]) for text, cm, tm in words}
    piles = sorted(cm[0] * tm[4] + cm[4] for text, cm, tm in words if text == "pile")
    pile_pt = 4 * 8 * 0.5  # four letters of 8 pt, half an em wide each
    title = next(text for text in at if text.startswith("front yard"))
    assert title.endswith("detail 3") and "…" in title
    assert piles[0] + pile_pt < at["zebra"][0] < piles[1]
    assert at[title][1] == pytest.approx(at["zebra"][1])  # one line


def test_no_part_of_a_drawing_leaves_it(yard):
    for one in (o for sheet in sheets.data(yard)["sheets"] for o in drawings_of(sheet)):
        points = [point for lines in one["paths"].values() for line in lines for point in line]
        assert (np.array(points) >= 0).all()
        assert (np.array(points) <= (one["width"], one["height"])).all()


def test_names_are_printed_as_they_stand(read):
    for name in MODULES:
        assert squeezed(HOSTILE) in squeezed(text_of(read[name].pages))


def test_a_metric_bid_is_in_millimetres_on_a4(yard):
    metric = yard.bid.model_copy(update={"units": "metric"})
    result = geoturf.run(metric)
    for name in MODULES:
        reader = printed(result, name)
        assert tuple(round(float(x)) for x in reader.pages[0].mediabox[2:]) == (595, 842)
        text = text_of(reader.pages)
        assert not re.search(r"\d' \d|\d\"", text)
    text = squeezed(text_of(printed(result, "sheets").pages))
    for row in tables.pieces(result).itertuples():
        length, width = (ceil(size * 1000 - 1e-3) for size in (row.length_m, row.width_m))
        assert squeezed(f"{row.piece}{row.roll}{length} mm x {width} mm") in text


def test_slanted_pieces_have_both_lengths(tmp_path):
    shapes = [
        Polygon([(x, 0), (x + 30 + k, 0), (x + 79 + k, 44.4), (x + 49, 44.4)])
        for k, x in enumerate(range(0, 1000, 170))
    ]
    result = lot(
        tmp_path,
        [(f"P{k}", "1", shape) for k, shape in enumerate(shapes)],
        products={"turf60": {"roll_lengths": "300 ft"}},
        layout={"nesting": "slanted", "bearing": 90.0},
    )
    pieces = tables.pieces(result)
    if "length_right_ft" not in pieces:
        pytest.fail("nothing slants")
    sheet, cut = (squeezed(text_of(printed(result, name).pages)) for name in ("sheets", "cut_list"))
    slanted = pieces[pieces["length_ft"] != pieces["length_right_ft"]]
    for row in slanted.itertuples():
        both = f"{tape(row.length_ft)} / {tape(row.length_right_ft)}"
        assert squeezed(f"{row.roll}{both} x {tape(row.width_ft)}") in sheet
        assert squeezed(f"{both}{tape(row.width_ft)}{row.site}") in cut

    for one in laying.layings(result):
        for piece in one.pieces:
            grass = shapely.intersection(one.shape, box(piece.u0, piece.v0, piece.u1, piece.v1))
            assert Polygon(piece.corners).buffer(1e-3).covers(grass)


def test_no_name_is_cut_off_on_a_label(tmp_path):
    """The longest names that are not shortened, beside the number of the piece and without it."""
    site, area = "W" * 24 + " the lot at the bend,"[:24], "M" * 48
    result = lot(tmp_path, [(site, area, box(0, 0, 20, 30))])
    one = labels.data(result)["labels"][0]
    room = labels.SHEETS["letter"].width - 10
    number_mm = letters.wide_mm(f"no. {one['number']}", 10, bold=True)
    assert letters.wide_mm(one["site"], one["site_pt"], bold=True) + number_mm <= room
    assert letters.wide_mm(one["area"], one["area_pt"], bold=True) <= room
    assert labels._size_pt("Q-010", 15.0, 60.0) == 15.0


def test_labels_fit_their_sheet():
    """Two columns of five: their sizes and gaps within the page."""
    for page, (wide, high) in {"letter": (215.9, 279.4), "a4": (210, 297)}.items():
        sheet = labels.SHEETS[page]
        assert 2 * sheet.width + sheet.gap < wide and 5 * sheet.height < high


def test_there_is_no_money_in_them(yard, read):
    amounts = {f"{amount:,}" for amount in yard.price.lines["amount"]} | {
        f"{yard.price.totals['price']:,}"
    }
    for name in MODULES:
        text = text_of(read[name].pages)
        assert (
            "USD" not in text and "price" not in text.casefold() and "cost" not in text.casefold()
        )
        assert not [amount for amount in amounts if "." in amount and count(amount, text)]


def figures(node):
    """Alternate texts of all figures in a tagged PDF's structure (ISO 32000-1, 14.9.3)."""
    node = node.get_object()
    if isinstance(node, list):
        return [alt for one in node if not isinstance(one, int) for alt in figures(one)]
    if not isinstance(node, dict):
        return []
    own = [node.get("/Alt", "")] if node.get("/S") == "/Figure" else []
    return own + (figures(node["/K"]) if not isinstance(node.get("/K", 0), int) else [])


def test_every_drawing_has_words_for_who_cannot_see_it(yard, read):
    made = sheets.data(yard)["sheets"]
    drawings = {
        "sheets": sum(len(drawings_of(sheet)) for sheet in made),
        "cut_list": len(yard.plan.rolls),
    }
    for name, count_of in drawings.items():
        root = read[name].trailer["/Root"]
        told = figures(root["/StructTreeRoot"])
        assert root["/MarkInfo"]["/Marked"] and len(told) == count_of
        assert all(alt.startswith("Drawing of ") for alt in told)


@pytest.mark.parametrize("name", MODULES)
def test_data_are_plain(yard, name):
    json.dumps(MODULES[name].data(yard), allow_nan=False)


def test_the_same_bytes_twice_and_printed_at_one_time(yard, tmp_path):
    def printed(name):
        folder = tmp_path / name
        folder.mkdir()
        papers.write(yard, folder, ("crew",))
        return {path.name: path.read_bytes() for path in folder.rglob("*.pdf")}

    once = printed("once")
    with ThreadPoolExecutor(2) as threads:
        assert list(threads.map(printed, ("a", "b"))) == [once, once]
    assert set(once) == {f"{name}.pdf" for name in MODULES}


def test_crews_papers_of_many_lots_are_the_work_of_workers(yard, tmp_path, monkeypatch):
    """Not a page of them is printed in this process, and the bytes are those that it would print."""
    papers.write(yard, tmp_path, ("crew", "buyer"))
    alone = {path.name: path.read_bytes() for path in tmp_path.rglob("*.pdf")}
    here = []
    press_here = press.printed
    monkeypatch.setattr(papers, "MANY", 0)
    monkeypatch.setattr(press, "printed", lambda *a: here.append(a[0]) or press_here(*a))
    with Processes(2) as engine:
        engine.begin(abs, 1)()
        papers.write(yard, tmp_path, ("crew", "buyer"), engine)
    assert {path.name: path.read_bytes() for path in tmp_path.rglob("*.pdf")} == alone
    assert here == ["order"]


def test_where_no_thread_can_be_had_papers_are_printed_all_the_same(yard, tmp_path, monkeypatch):
    def refused(thread):
        raise RuntimeError("can't start new thread")  # CPython's words

    monkeypatch.setattr(threading.Thread, "start", refused)
    papers.write(yard, tmp_path, ("crew",))
    assert {path.stem for path in tmp_path.rglob("*.pdf")} == set(MODULES)


def test_nails_of_runs_are_counted_by_the_rule(yard):
    """ceil(length / spacing), one more where a run has ends; none along seams (common practice)."""
    runs = yard.edges.runs
    by_hand = [
        0 if kind == "shared" else ceil(length / (4 * FOOT / 12) - 1e-6) + (not closed)
        for kind, length, closed in zip(runs["kind"], runs["laid_m"], runs["closed"], strict=True)
    ]
    assert runs["fasteners"].tolist() == by_hand


def test_laying_begins_at_the_line_on_the_built_side(yard):
    """Piece 1 lies beside its chalk line; no piece is left out or named twice."""
    number = laying.numbers(yard)
    assert set(number) == set(yard.plan.pieces["piece"])
    by_area = pd.Series(number).groupby(
        yard.plan.pieces.set_index("piece")["area_index"].reindex(number), sort=False
    )
    assert all(sorted(group) == list(range(1, len(group) + 1)) for _, group in by_area)
    for one in laying.layings(yard):
        if len(one.lines) == 1 and not one.lines[0].seam.cross:
            first, line = one.pieces[0], one.lines[0].seam
            assert min(abs(first.v0 - line.v0), abs(first.v1 - line.v0)) < 1e-3


def test_lengths_between_marks_are_those_between_their_points(yard):
    for _, line in placed_marks(yard):
        start, end = line.marks
        assert line.seam.length_m == pytest.approx(hypot(end.u - start.u, end.v - start.v))


ELL = Polygon([(0, 0), (44, 0), (44, 30), (21, 30), (21, 47), (0, 47)])


@pytest.fixture(scope="module")
def estate(tmp_path_factory):
    """Four lots of one plan, two more of its mirror image, and one of its own; worked from the last
    to the first."""
    placed = [shapely.affinity.translate(ELL, 100 * k, 0) for k in range(4)]
    mirrored = shapely.affinity.scale(ELL, -1, 1)
    placed += [shapely.affinity.translate(mirrored, 100 * k, 0) for k in (5, 6)]
    areas = [(f"{k}", "lawn", shape) for k, shape in enumerate(placed)]
    areas.append(("own", "lawn", box(0, 200, 33, 260)))
    order = [float(len(areas) - k) for k in range(len(areas))]
    return lot(tmp_path_factory.mktemp("estate"), areas, columns={"work_order": order})


def rows_of(sheet):
    """Site, drawing, number, piece and roll of every piece that stands on a sheet."""
    for one in sheet["lots"]:
        for area in one["areas"]:
            for text in area["pieces"]:
                yield one["site"], area["drawn"].partition(", pile")[0], *text.split()
    for block in blocks_of(sheet) if not sheet["lots"] else ():
        for number, piece, roll, _ in block["area"]["pieces"]:
            yield sheet["name"], block["area"]["title"], number, piece, roll


def held_to_its_pieces(result):
    """Every piece stands on one sheet, with its roll, beside a number whose size in the drawing is
    the piece's; and once in the cut list."""
    pieces = tables.pieces(result).set_index("piece")
    made = sheets.data(result)["sheets"]
    on = [row for sheet in made for row in rows_of(sheet)]
    assert sorted(row[3] for row in on) == sorted(pieces.index)
    sizes = {
        (sheet["name"], block["area"]["title"], row[0]): row[-1]
        for sheet in made
        for block in blocks_of(sheet)
        for row in block["area"]["pieces"]
    }
    for sheet in made:
        for site, title, number, piece, roll in rows_of(sheet):
            told = pieces.loc[piece]
            assert (told["site"], told["roll"]) == (site, roll)
            size = f"{tape(told['length_ft'])} x {tape(told['width_ft'])}"
            assert sizes[sheet["name"], title, number] == size
    cut = [row[1] for roll in cut_list.data(result)["rolls"] for row in roll["rows"]]
    assert sorted(cut) == sorted(pieces.index)
    return made


def test_lots_of_a_plan_share_a_sheet_with_a_row_each(estate):
    made = held_to_its_pieces(estate)
    shared = {sheet["name"]: [one["site"] for one in sheet["lots"]] for sheet in made}
    assert shared == {"own": [], "plan 1": ["5", "4", "3", "2", "1", "0"]}
    text = text_of(printed(estate, "sheets").pages)
    for row in tables.pieces(estate).itertuples():
        assert f"{row.piece} {row.roll}" in text
        assert count(row.piece, text) in (
            (1, 2) if row.site == "own" else (1,)
        )  # in its drawing too
    drawn = [block["area"]["title"] for sheet in made for block in blocks_of(sheet)]
    assert len(drawn) == len(set(drawn)) < 7


def test_what_shares_a_drawing_lies_alike(estate):
    """By the pieces as they were planned: from the first of an area, all lie where they do on the
    first lot; on a mirrored drawing across the pile the other way."""
    places = estate.plan.pieces.set_index("piece")[["u0", "u1", "v0", "v1"]]
    for sheet in sheets.sheets(estate):
        for group in sheet.drawings:
            lots = [places.loc[[piece.piece for piece in one.pieces]] for one in group.layings]
            for one in lots:
                away = one.to_numpy() - one[["u0", "u0", "v0", "v0"]].min().to_numpy()
                first = lots[0].to_numpy() - lots[0][["u0", "u0", "v0", "v0"]].min().to_numpy()
                assert np.allclose(away, first, atol=2e-3)


def test_a_drawing_of_several_lots_names_no_lots_pieces(estate):
    for sheet in sheets.data(estate)["sheets"]:
        for drawn in drawings_of(sheet):
            words = {word for label in drawn["labels"] for word in label["lines"]}
            pieces = set(estate.plan.pieces["piece"])
            assert bool(words & pieces) == (not sheet["lots"])


def test_a_lot_with_another_walk_is_not_drawn_alike(tmp_path):
    """The same lawn, its order of rolls the same; a walk along one of them finds its line by other
    corners and is nailed otherwise."""
    lawn = box(0, 0, 40, 30)
    areas = [(f"{k}", "lawn", shapely.affinity.translate(lawn, 100 * k, 0)) for k in range(3)]
    result = lot(tmp_path, areas, paving=[box(200, -4, 210, 0)])
    (sheet,) = sheets.sheets(result)
    groups = [[one.area_index for one in group.layings] for group in sheet.drawings]
    assert groups == [[0, 1], [2]]


def test_crews_papers_follow_the_order_of_work(estate):
    worked = tables.work_order(estate)["site"].tolist()
    assert worked == ["own", "5", "4", "3", "2", "1", "0"]
    assert [site for column in sheets.data(estate)["where"] for site, *_ in column] == worked
    assert list(loaded(estate)) == worked


def test_what_most_lots_take_and_which_take_more():
    each = sheets._each(
        [("a", "5 bags"), ("b", "6 bags"), ("c", "5 bags"), ("d", "6 bags"), ("e", "5 bags")]
    )
    assert each == ("5 bags", "6 bags on b, d")
    assert sheets._range([(12.0, "12.0 lb"), (9.5, "9.5 lb")]) == "9.5 to 12.0 lb"
    assert sheets._range([(9.51, "9.5 lb"), (9.5, "9.5 lb")]) == "9.5 lb"


def test_what_is_dug_and_hauled_away_is_not_brought(yard):
    """Only what `ITEMS` has as a service; each of all else is brought in whole packages."""
    services = {item.title for item in ITEMS.values() if item.kind == "service"}
    rows = [row for one in sheets.data(yard)["sheets"] for row in one["items"]]
    assert {title for title, *_ in rows} & services
    for title, net, bring, others in rows:
        assert net and bool(bring) == (title not in services) and not others


def test_a_long_list_of_lots_goes_on_over_pages(tmp_path):
    lawn = box(0, 0, 40, 30)
    areas = [
        (f"{k} {HOSTILE} {'w' * 500}", "lawn", shapely.affinity.translate(lawn, 100 * k, 0))
        for k in range(40)
    ]
    result = lot(tmp_path, areas)
    text = squeezed(text_of(printed(result, "sheets").pages))
    assert all(squeezed(site) in text for site, *_ in areas)
    assert [len(sheet["lots"]) for sheet in sheets.data(result)["sheets"]] == [40]


def test_a_truck_is_loaded_on_the_day_its_task_begins(yard):
    """Days by hand: one crew does all, task after task and lot after lot, 8 hours a day; Monday 5
    October 2026 is the first, and weekends are not worked."""
    work = yard.takeoff.areas.groupby(yard.ground.areas["site"].to_numpy(), sort=False).sum()
    hour, days = 0.0, {}
    for site in yard.plan.lots["site"]:
        for task in TASKS:
            days[site, task] = int(hour / 8 + 1e-6) + 1
            hour += work.loc[site, f"labour_{task}"]
    task_of = {"Infill": "infill", "Turf nails": "nail", "Nails or staples of the fabric": "fabric"}
    dated = yard.bid.model_copy(update={"calendar": CalendarRules(start=date(2026, 10, 5))})
    for bid in (yard.bid, dated):
        seen = set()
        for day in load_list.data(geoturf.run(bid))["days"]:
            number = int(day["day"].split()[-1])
            if bid is dated:
                monday = date(2026, 10, 5) + timedelta(days=7 * ((number - 1) // 5))
                at = monday + timedelta(days=(number - 1) % 5)
                assert day["day"] == f"{at:%A} {at}, day {number}"
            for lot in day["lots"]:
                tasks = [task_of.get(item[0]) for item in lot["items"]]
                tasks += ["turf"] if lot["pieces"] else []
                for task in filter(None, tasks):
                    assert days[lot["site"], task] == number
                    seen.add((lot["site"], task))
        assert len(seen) == 8


def test_every_piece_and_package_is_loaded_once(yard):
    pieces = [piece for some, _ in loaded(yard).values() for piece, *_ in some]
    assert sorted(pieces) == sorted(yard.plan.pieces["piece"])
    for site, (_, items) in loaded(yard).items():
        mine = lots.taken(yard)[next(key for key in lots.taken(yard) if key[1] == site)]
        goods = [one.title for one in mine if ITEMS[one.key].kind != "service"]
        assert sorted(item[0] for item in items) == sorted(goods)


def test_no_label_hides_the_border(tmp_path):
    """A pie-shaped lot's tips: what is written on a piece lies on its turf, or on what is cut off
    it; only a number without a size may stand on a border, where a piece has no room for it."""
    tip = Polygon([(0, 0), (90, 21), (84, 60), (40, 70), (0, 12)])
    result = lot(tmp_path, [("A", "1", tip), ("B", "1", Polygon([(200, 0), (260, 8), (203, 47)]))])
    written = 0
    for one in laying.layings(result):
        for scale in to_scale.scales(US)[4:12]:
            window, turns = laying.window_of(one.shape), to_scale.turns_of(one.bearing_deg)
            view = to_scale.View(window, turns, scale)
            border = view.shape(one.shape).boundary
            for label in drawing.drawn(one, view, (), US)["labels"]:
                if label["lines"]:
                    written += 1
                    assert not border.intersects(extent_of(label).buffer(-0.02))
    assert written > 20


@pytest.mark.parametrize("seed", range(5))
def test_a_label_has_room_where_shapely_says_so(seed):
    """Boxes in parts of rectangles with bites out of them: shapely's covers, but for a hair."""
    rng = np.random.default_rng(seed)
    shape = box(0, 0, 8, 5)
    for x, y in rng.uniform(0, (8, 5), (4, 2)):
        shape = shape.difference(shapely.Point(x, y).buffer(rng.uniform(0.3, 1.2), quad_segs=2))
    parts = laying.Parts(np.array([shape], object), np.zeros(1, bool))
    edges, first = parts.edges
    answers = set()
    for wide, high in rng.uniform(0.2, (7, 4.5), (200, 2)):
        found, (middle,) = spots.tried(
            edges,
            first,
            np.zeros(1, int),
            parts.whole,
            parts.bounds,
            np.array([[9.0, wide]]),
            np.array([[1.0, high]]),
            spots.SPOTS,
        )
        low = parts.bounds[0, :2]
        room = parts.bounds[0, 2:] - low - (wide, high)
        places = low + room * spots.SPOTS
        free = [shape.covers(box(x, y, x + wide, y + high)) for x, y in places]
        assert (found[0] == 1) == any(free)
        if any(free):
            assert middle == pytest.approx(places[free.index(True)] + np.array([wide, high]) / 2)
        answers.add(any(free))
    assert answers == {True, False}


def test_a_details_name_touches_no_label():
    """In each corner of a frame but one a piece's label: the name goes to that one."""
    frame = {"name": "1", "x": 20.0, "y": 20.0, "width": 40.0, "height": 30.0}
    corners = [(26.0, 22.0), (54.0, 22.0), (26.0, 48.0), (54.0, 48.0)]
    plain = {"number": "7", "lines": ["14' 10\""], "above": False, "turned": False}
    for free in corners:
        labels = [plain | {"x": x, "y": y} for x, y in corners if (x, y) != free]
        drawn = {"dims": [], "labels": labels, "corners": [], "marks": [], "details": [frame]}
        names = lettering.layers(drawn)[2]
        ((style, ((x, y, said),)),) = names["words"]
        assert (style, said) == ("detail", "detail 1")
        assert abs(x - free[0]) < 10 and abs(y - free[1]) < 3


def test_widths_are_those_of_the_font():
    """By its file, a digit of Libertinus Serif is 0.465 em wide, a bold one 0.514; by its
    designers' specimen a space is a quarter of an em (from memory)."""
    pt = 25.4 / 72
    assert letters.wide_mm("0123456789", 10) == pytest.approx(10 * 0.465 * 10 * pt)
    assert letters.wide_mm("01 23", 8, bold=True) == pytest.approx((4 * 0.514 + 0.25) * 8 * pt)


def test_a_text_is_shortened_to_its_room():
    long = "a name of an area that goes on and on, detail 3"
    for room in (20, 40, 60):
        short = letters.shortened(long, room, 8.5, bold=True)
        assert letters.wide_mm(short, 8.5, bold=True) <= room
        assert long.startswith(short.partition("…")[0]) and long.endswith(short.partition("…")[2])
    assert letters.shortened(long, 200, 8.5, bold=True) == long


def extent_of(label):
    """The least that a label takes: a letter of Libertinus Serif is 0.4 em wide at the least here
    (digits are 0.465 em, by its font file), lines of 6.5 pt stand beside the number or below it."""
    pt = 25.4 / 72
    lines = label["lines"]
    text, number = max(map(len, lines)) * 6.5 * pt * 0.4, len(label["number"]) * 9 * pt * 0.4
    wide, high = text + number, len(lines) * 6.5 * pt * 0.7
    if label["above"]:
        wide, high = max(text, number), high + 9 * pt * 0.7
    if label["turned"]:
        wide, high = high, wide
    x, y = label["x"], label["y"]
    return box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


def test_a_sliver_at_the_rim_of_a_drawing_is_clipped():
    """What a drawing shows of a hair of a piece, as an overlay has it. GEOS's clip by a rectangle
    gives up at it: it would keep a ring of three points."""
    hair = shapely.MultiPolygon(
        [
            Polygon([(-7.315592214470646, 0.8), (-7.315592214470646, -3.7), (-7.3157, -3.7)]),
            Polygon(
                [
                    (-8.534994259281033, 0.8633845193344927),
                    (-8.534994259281032, 0.8633845193344927),
                    (-8.534994259281033, -3.657815480665508),
                ]
            ),
        ]
    )
    window = (-9.754194259281034, -5.486615480665508, -3.6578991241004344, -2.438615480665508)
    with pytest.raises(shapely.errors.GEOSException):
        shapely.clip_by_rect(hair, *window)
    seen = plane.in_box(hair, window)
    assert seen.area == pytest.approx(shapely.intersection(hair, box(*window)).area)
    assert shapely.intersection(hair, box(*window)).area > 0
    assert box(*window).covers(seen)
