"""Who a bid is from and to, on what terms; a logo is read safely."""

import datetime
import hashlib
import os
import struct
import zlib

import pytest

import geoturf
from geoturf import papers, read
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.papers import sender

LAYERS = {"layers": [{"path": "x.shp"}]}
SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><rect width="9" height="9"/></svg>'


def png(width=2, height=2, body=None):
    """A PNG by its specification (W3C PNG, 5 and 11.2): black, eight bits of grey."""

    def chunk(kind, data):
        crc = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", crc)

    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * ((width + 1) * height)) if body is None else body
    parts = chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


def bid(**tables):
    return make_bid(LAYERS | tables)


def refused(**tables):
    with pytest.raises(BidError) as error:
        bid(**tables)
    return str(error.value)


def test_all_of_it_may_be_left_out():
    empty = bid()
    assert (empty.bidder.name, empty.client.name, empty.terms.date) == ("", "", None)


def test_texts_are_one_or_a_list():
    one = bid(bidder={"address": "1 Sedge Row\nQuillhaven"}, terms={"payment": ["a", "b"]})
    assert one.bidder.address == ("1 Sedge Row", "Quillhaven") and one.terms.payment == ("a", "b")


@pytest.mark.parametrize("written", ["2026-03-31", datetime.date(2026, 3, 31)])
def test_a_date_is_one_of_toml_or_in_quotes(written):
    assert bid(terms={"date": written}).terms.date == datetime.date(2026, 3, 31)


@pytest.mark.parametrize("written", [20260331, "31.3.2026", datetime.datetime(2026, 3, 31), True])
def test_what_is_no_date_is_refused(written):
    assert "is no date, which is written like 2026-03-31" in refused(terms={"date": written})


def test_dates_that_go_backwards_are_refused():
    said = refused(terms={"date": "2026-03-31", "valid_until": "2026-03-01"})
    assert "valid_until, 2026-03-01, is before date, 2026-03-31" in said
    said = refused(terms={"phases": {"1": {"start": "2026-03-31", "finish": "2026-03-01"}}})
    assert "finish, 2026-03-01, is before start" in said


def test_a_phase_starts_when_its_prices_rise_to_that_day():
    rise = {"rate": "4 %", "prices_of": "2026-01-01", "starts": {"1": "2026-03-31"}}
    dates = bid(price={"escalation": rise}, terms={"phases": {"2": {"finish": "2026-05-01"}}}).dates
    assert dates["1"].start == datetime.date(2026, 3, 31) and dates["2"].start is None
    said = refused(price={"escalation": rise}, terms={"phases": {"1": {"start": "2026-03-30"}}})
    assert "start, 2026-03-30, is not 2026-03-31 of price.escalation.starts" in said


@pytest.mark.parametrize(
    ("key", "home"),
    [("date", "[terms]"), ("owner", "[client]"), ("contractor", "[bidder]"), ("logo", "[bidder]")],
)
def test_who_writes_it_elsewhere_is_told_where_it_stands(key, home):
    assert home in refused(**{key: "x"})


@pytest.mark.parametrize(
    ("given", "page"),
    [({}, "letter"), ({"units": "metric"}, "a4"), ({"terms": {"page": "a4"}}, "a4")],
)
def test_the_page_goes_by_units_unless_the_bid_says(given, page):
    assert bid(**given).page == page


def test_dates_are_written_as_the_reader_writes_them():
    date = datetime.date(2026, 3, 1)
    assert sender.day(date, "us") == "March 1, 2026"
    assert sender.day(date, "metric") == "1 March 2026" and sender.day(None, "us") == ""


# -------------------------------------------------------------------------------------------- logo


@pytest.mark.parametrize(("content", "kind"), [(png(), "png"), (SVG.encode(), "svg")])
def test_a_logo_is_what_its_bytes_say(tmp_path, content, kind):
    (tmp_path / "mark.any").write_bytes(content)
    assert read.logo(tmp_path, "mark.any").kind == kind
    papers.look(bid(bidder={"logo": "mark.any"}, folder=str(tmp_path)))


def test_a_jpeg_is_measured_by_its_frame(tmp_path):
    """ITU-T T.81 B.2.2: a segment is passed over by its length, the frame tells height and
    width."""
    start, other = b"\xff\xd8", b"\xff\xe0\x00\x04ab"
    for size, fits in ((30, True), (9000, False)):
        frame = b"\xff\xc0\x00\x0b\x08" + struct.pack(">HH", 20, size) + b"\x01\x01\x11\x00"
        (tmp_path / "mark.jpg").write_bytes(start + other + frame)
        if fits:
            assert read.logo(tmp_path, "mark.jpg").kind == "jpg"
        else:
            with pytest.raises(BidError, match="is 9,000 by 20 pixels"):
                read.logo(tmp_path, "mark.jpg")


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        (b"GIF89a", "is no PNG, JPEG or SVG"),
        (b"\xff\xd8\xff\xe0", "is no whole JPEG"),
        (png(5000, 2, b""), "is 5,000 by 2 pixels, and 4,000 each way is the most"),
        (b"x" * 500_001, "500,001 bytes, and 500,000 is the most"),
        (b"<html/>", "is no PNG, JPEG or SVG"),
        (b'<!DOCTYPE svg [<!ENTITY a "b">]><svg>&a;</svg>', "has a DOCTYPE or entities"),
        (b"<svg><script>1</script></svg>", "has <script>"),
        (b'<svg><image href="/etc/passwd"/></svg>', "has <image>"),
        (b'<svg><a href="http://x.example"/></svg>', "outside itself"),
        (b'<svg><rect fill="url(http://x.example#a)"/></svg>', "outside itself"),
        (b"<svg>" + b"<g/>" * 6000 + b"</svg>", "has 6,001 shapes"),
    ],
)
def test_a_logo_that_is_not_safe_is_refused_in_one_line(tmp_path, content, fault):
    (tmp_path / "mark").write_bytes(content)
    with pytest.raises(BidError, match=fault) as error:
        read.logo(tmp_path, "mark")
    assert len(error.value.findings) == 1 and "\n" not in error.value.findings[0].line()


def test_a_logo_lies_beside_the_bid(tmp_path):
    home = tmp_path / "bid"
    home.mkdir()
    (tmp_path / "mark.svg").write_text(SVG)
    (home / "link.svg").symlink_to(tmp_path / "mark.svg")
    for path in ("../mark.svg", str(tmp_path / "mark.svg"), "link.svg"):
        with pytest.raises(BidError, match="is not beside the bid file"):
            read.logo(home, path)
    with pytest.raises(BidError, match="No such file"):
        read.logo(home, "lost.svg")
    os.mkfifo(home / "pipe")
    for path in ("pipe", "."):
        with pytest.raises(BidError, match="is no regular file"):
            read.logo(home, path)


def test_a_damaged_logo_is_refused_before_the_work(tmp_path):
    (tmp_path / "mark.png").write_bytes(png(body=b"damaged"))
    with pytest.raises(BidError, match=r"mark\.png: bidder\.logo: is damaged"):
        papers.look(bid(bidder={"logo": "mark.png"}, folder=str(tmp_path)))


# ---------------------------------------------------------------------------------- in a whole run


def test_a_run_tells_what_logo_it_read_and_of_dates_that_no_phase_bears(lawns, bid_file, tmp_path):
    lawns((0, 0, 40, 30), phase=["North"])
    (tmp_path / "mark.svg").write_text(SVG, encoding="utf-8")
    more = '[bidder]\nlogo = "mark.svg"\n[terms.phases.Nort]\nstart = 2026-06-01\n'
    result = geoturf.run(geoturf.read_bid(bid_file(more)))
    digest = hashlib.sha256(SVG.encode()).hexdigest()
    assert ("mark.svg", digest) in result.source.inputs
    (told,) = [one for one in result.findings if one.code == "unmet-phase"]
    assert "no area is of phase 'Nort' (did you mean 'North'?)" in told.message


def test_a_run_refuses_an_unsafe_logo_before_the_work(lawns, bid_file, tmp_path):
    lawns((0, 0, 40, 30))
    (tmp_path / "mark.svg").write_text("<svg><script/></svg>", encoding="utf-8")
    with pytest.raises(BidError, match="has <script>"):
        geoturf.check_bid(geoturf.read_bid(bid_file('[bidder]\nlogo = "mark.svg"\n')))
