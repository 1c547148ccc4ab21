"""Papers: text stays text, the same data give the same bytes."""

import io

import geopandas
import pypdf
import pytest
from hand_made import made
from shapely.geometry import box

import geoturf
from geoturf import papers
from geoturf.errors import BidError
from geoturf.papers import press

HOSTILE = [
    '#import "x"',
    "$x$ \\ [b] *c* _d_ @e <f>",
    "</script><b>",
    "x" * 500,
    "turned \u202e mark",
    "lone \ud800 half",
    "a\x07bell",
]


@pytest.fixture
def template(tmp_path, monkeypatch):
    """A paper of one table, beside the house's own style."""
    style = (press._TYPE / "house.typ").read_text(encoding="utf-8")
    (tmp_path / "house.typ").write_text(style, encoding="utf-8")
    (tmp_path / "names.typ").write_text(
        '#import "house.typ": *\n#show: paper.with(title: data.title)\n= #data.title\n'
        '#grid-of(("name", "size"), data.rows, right: (1,))\n',
        encoding="utf-8",
    )
    monkeypatch.setattr(press, "_TYPE", tmp_path)
    return "names"


def text_of(pdf: bytes) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    return "".join(page.extract_text() for page in pages)


@pytest.mark.parametrize("name", HOSTILE)
def test_names_are_printed_as_they_stand(template, name):
    made = text_of(press.printed(template, {"page": "a4", "title": "Lot", "rows": [[name, "1"]]}))
    shown = name.replace("\u202e", "").replace("\ud800", "\ufffd").replace("\x07", "\ufffd")
    squeezed = "".join(made.replace("\u200b", "").split())
    assert "".join(shown.split()) in squeezed


def test_a_long_word_breaks_within_a_narrow_column(template):
    """A column of an inch (72 points) holds seven letters of 9.8 points: none may stand beside."""
    style = press._TYPE / "house.typ"
    narrow = style.parent / "names.typ"
    text = narrow.read_text(encoding="utf-8")
    narrow.write_text(text.replace("right: (1,)", "widths: (2.5cm, 2.5cm)"), encoding="utf-8")
    rows = [["W" * 200, "|" * 3]]
    made = press.printed(template, {"page": "a4", "title": "Lot", "rows": rows})
    lines = []
    page = pypdf.PdfReader(io.BytesIO(made)).pages[0]
    page.extract_text(visitor_text=lambda text, *_: lines.append(text))
    letters = [len(run.replace("\u200b", "")) for run in "".join(lines).split() if "W" in run]
    assert sum(letters) == 200 and max(letters) <= 7


def test_the_same_data_give_the_same_bytes(template):
    data = {"page": "letter", "title": "Lot", "rows": [["a", "1"]] * 200}
    first = press.printed(template, data)
    assert press.printed(template, data) == first


def test_pages_are_letter_or_a4_and_heads_are_repeated(template):
    sizes = []
    for page in ("letter", "a4"):
        rows = [["a", "1"]] * 200
        pdf = press.printed(template, {"page": page, "title": "Lot", "rows": rows})
        pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
        assert len(pages) > 2 and all("size" in one.extract_text() for one in pages)
        sizes.append(tuple(round(float(x)) for x in pages[0].mediabox[2:]))
    assert sizes == [(612, 792), (595, 842)]


def test_numbers_that_are_none_are_refused(template):
    with pytest.raises(ValueError, match="JSON"):
        press.printed(template, {"page": "a4", "title": "Lot", "rows": [[float("nan"), "1"]]})


@pytest.mark.parametrize(("which", "given"), [(None, None), ("all", papers.READERS), ("none", ())])
def test_papers_are_asked_for_by_reader(which, given):
    assert papers.asked(which) == given


def test_readers_without_papers_are_refused():
    with pytest.raises(BidError, match="no papers for 'zoo'; there are all, none"):
        papers.asked("zoo")


def test_a_logo_that_was_damaged_since_is_refused_in_one_line(tmp_path):
    """By way of Python, where nothing looked at it before the work."""
    (tmp_path / "mark.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0\0\0\x02" * 8)
    result = made(["a"], bidder={"logo": "mark.png"}, folder=str(tmp_path))
    with pytest.raises(BidError, match="cannot be drawn"):
        papers.write(result, tmp_path, ["client"])


MEAN = '#import "x" $x$ \\ [b] *c* _d_ @e <f> </script> \u202e\u200f ' + "w" * 500


@pytest.fixture(scope="module", params=["letter, us", "a4, metric"])
def mean(request, tmp_path_factory):
    """A bid whose every name means harm: two lots of one plan and one of their own, no
    alternates."""
    home = tmp_path_factory.mktemp("mean")
    x, y = 250_000.0, 4_000_000.0  # in UTM zone 11 north
    geopandas.GeoDataFrame(
        {
            "site": [f"{k}{MEAN}" for k in range(3)],
            "area": f"a{MEAN}",
            "phase": f"p{MEAN}",
            "model": [f"m{MEAN}", f"m{MEAN}", None],
            "OWNER": f"o{MEAN}",
        },
        geometry=[box(x + k, y, x + k + w, y + 9) for k, w in ((0, 12), (40, 12), (80, 7))],
        crs="EPSG:26911",
    ).to_file(home / "lawns.gpkg")
    bid = {
        "name": f"b{MEAN}",
        "units": request.param.split(", ")[1],
        "keep": ["OWNER"],
        "layers": [{"path": "lawns.gpkg"}],
        "products": {"turf60": {"title": f"t{MEAN}"}},
        "bidder": {"name": f"f{MEAN}"},
        "client": {"name": f"c{MEAN}"},
        "terms": {"inclusions": [f"i{MEAN}"], "signatures": [f"s{MEAN}"]},
        "price": {"alternates": []},
        "folder": str(home),
    }
    geoturf.write(geoturf.run(geoturf.make_bid(bid)), home / "out", readers=papers.READERS)
    return home / "out"


#: names that each paper bears (of sites, areas, phases, plans, owner, bid, turf, bidder, client,
#: terms)
BORNE = {
    "portfolio.pdf": "02ob",
    "client/proposal.pdf": "bmtfcis",
    "buyer/order.pdf": "bpt",
    "crew/cut_list.pdf": "012apbt",
    "crew/labels.pdf": "012ap",
    "crew/load_list.pdf": "012pb",
    "crew/sheets.pdf": "012apmbt",
}


def test_names_that_mean_harm_are_text_in_every_paper(mean):
    shown = "".join(MEAN.replace("\u202e", "").replace("\u200f", "").split())
    made = {file.relative_to(mean).as_posix() for file in mean.rglob("*.pdf")}
    assert made == set(BORNE)
    missing = {}
    for file, names in BORNE.items():
        text = text_of((mean / file).read_bytes()).replace("\u200b", "")
        squeezed = "".join(text.split())
        missing[file] = [name for name in names if f"{name}{shown}" not in squeezed]
    assert not any(missing.values()), missing


def test_a_name_too_long_for_its_column_is_shortened_and_told_once_in_full(mean):
    """Names of sites, areas, phases and plans, on every paper that bears them."""
    shown = "".join(MEAN.replace("\u202e", "").replace("\u200f", "").split())
    counts = {}
    for file, borne in BORNE.items():
        text = text_of((mean / file).read_bytes()).replace("\u200b", "")
        squeezed = "".join(text.split())
        counts |= {(file, one): squeezed.count(one + shown) for one in borne if one in "012apm"}
    assert set(counts.values()) == {1}, counts


def test_nothing_on_a_page_of_long_names_runs_off_it(mean):
    for file in BORNE:
        lowest = min(map(_lowest, pypdf.PdfReader(mean / file).pages))
        assert lowest > 0, file


def _lowest(page):
    """How high above the page's foot the lowest text begins, pt: the place in a text matrix within
    the matrix of what it stands in (ISO 32000-1, 9.4.4)."""
    heights = []

    def met(text, cm, tm, *_):
        if text.strip():
            heights.append(tm[4] * cm[1] + tm[5] * cm[3] + cm[5])

    page.extract_text(visitor_text=met)
    return min(heights)
