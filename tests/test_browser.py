"""The map in a browser with no network: Debian's Chromium, driven by playwright."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from browsing import NEEDS_BROWSER, started
from hand_made import HOSTILE, made, water_of

from geoturf import maps
from geoturf.maps import layers

pytestmark = NEEDS_BROWSER
SITES = [f"Lot {k:03d}" for k in range(1, 25)] + list(HOSTILE) + ["Café Élan", "Lot 999 beyond"]


@pytest.fixture(scope="module")
def browser():
    with started() as it:
        yield it


class Opened:
    """A page opened from disk, with what it asked for and complained of."""

    def __init__(self, browser, path: Path, hash: str = "", **options):
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page = browser.new_page(**{"viewport": {"width": 1280, "height": 800}} | options)
        self.page.set_default_timeout(5000)
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("console", lambda m: self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.on("dialog", lambda d: (self.complaints.append("dialog"), d.dismiss()))
        self.page.goto(path.as_uri() + hash)
        self.page.wait_for_function("window.L && geoturf.drawing && geoturf.drawing.drawn")

    def __call__(self, script: str):
        return self.page.evaluate(script)

    def colour_at(self, lonlat: tuple[float, float]) -> list[int]:
        """What the canvas shows at a place: red, green, blue."""
        return self(
            f"""(() => {{
              const canvas = geoturf.drawing._canvas, map = map_geoturf;
              const at = map.latLngToLayerPoint([{lonlat[1]}, {lonlat[0]}]).subtract(L.DomUtil.getPosition(canvas));
              const ratio = canvas.width / parseFloat(canvas.style.width);
              return [...canvas.getContext("2d").getImageData(at.x * ratio, at.y * ratio, 1, 1).data].slice(0, 3);
            }})()"""
        )

    def spot(self, area: int) -> tuple[float, float]:
        """Where on the screen a spot is that is surely inside an area."""
        return self(
            f"""(() => {{
              const place = geoturf.scene.inner, map = map_geoturf;
              const at = map.latLngToContainerPoint(map.unproject([place.x[{area}], place.y[{area}]], 0));
              const frame = map.getContainer().getBoundingClientRect();
              return [at.x + frame.left, at.y + frame.top];
            }})()"""
        )

    def click_on(self, area: int) -> None:
        self.page.mouse.click(*self.spot(area))


@pytest.fixture(scope="module")
def file(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("map") / "map.html"
    path.write_text(maps.page(made(SITES, left_out=3), "us"), encoding="utf-8")
    return path


@pytest.fixture
def opened(browser, file):
    it = Opened(browser, file)
    yield it
    it.page.close()


def find(it: Opened, text: str) -> None:
    it.page.fill("#find", text)
    it.page.press("#find", "Enter")


def figures(it: Opened) -> dict[str, str]:
    """Word -> text, as the panel shows them (no-break spaces as plain ones)."""
    words, texts = (it.page.locator(f"#picked {tag}").all_text_contents() for tag in ("dt", "dd"))
    return dict(zip(words, [t.replace("\u00a0", " ") for t in texts], strict=True))


def test_the_page_asks_for_itself_alone_and_complains_of_nothing(opened, file):
    find(opened, "Lot 003")
    opened.page.locator("#colouring").select_option(label="waste")
    opened.page.get_by_role("button", name="Whole bid").click()
    opened.page.wait_for_timeout(400)
    assert opened.requests == [file.as_uri()]
    assert opened.complaints == []


def test_the_banner_says_how_many_are_not_priced(opened):
    assert opened.page.locator("#banner").is_visible()
    assert opened.page.locator("#banner").text_content().startswith("3 areas are NOT PRICED")


def test_no_banner_when_all_are_priced(browser, tmp_path):
    (tmp_path / "map.html").write_text(maps.page(made(["a"]), "us"), encoding="utf-8")
    it = Opened(browser, tmp_path / "map.html")
    assert it.page.locator("#banner").is_hidden()
    it.page.close()


def test_every_site_is_found_by_name_and_zoomed_to(opened):
    for k, name in enumerate(SITES):
        if any(ord(c) in (0x2028, 0x2029, 0xD800) for c in name):
            continue  # no keyboard types these into one line
        find(opened, name)
        assert opened.page.locator("#picked h2").text_content() == name
        assert opened("geoturf.state.site") == k
        inside = opened(
            "map_geoturf.getBounds().contains(geoturf.bounds(map_geoturf, "
            "geoturf.scene.siteBoxes[geoturf.state.site]))"
        )
        assert inside


def test_find_by_keyboard(opened):
    page = opened.page
    page.focus("#find")
    page.keyboard.type("lot 00")
    assert page.locator("#found [role=option]").count() == 9
    assert page.get_attribute("#find", "aria-expanded") == "true"
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    active = page.get_attribute("#find", "aria-activedescendant")
    assert page.locator(f"#{active}").text_content() == "Lot 002"
    assert page.locator(f"#{active}").get_attribute("aria-selected") == "true"
    page.keyboard.press("Enter")
    assert page.locator("#picked h2").text_content() == "Lot 002"
    assert page.locator("#found").is_hidden()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # past Close: the first area's button
    assert page.locator("#picked h3").text_content() == "Area front"
    page.keyboard.press("Escape")
    assert page.locator("#picked").is_hidden()


def test_find_heeds_neither_case_nor_accents_and_says_when_there_is_none(opened):
    find(opened, "CAFE elan")
    assert opened.page.locator("#picked h2").text_content() == "Café Élan"
    opened.page.fill("#find", "zzz")
    assert opened.page.locator("#found-count").text_content() == "No site has this in its name"
    opened.page.fill("#find", "lot")
    assert opened.page.locator("#found-count").text_content() == "and 13 more"


def test_a_click_on_an_area_shows_its_figures(opened):
    """108 m2 by hand is 1,162.50 ft2 (1 ft2 = 0.09290304 m2, NIST SP 811)."""
    find(opened, "Lot 002")
    opened.click_on(2)
    assert opened.page.locator("#picked h3").text_content() == "Area front"
    shown = figures(opened)
    assert shown["ground area"] == "1,162.50 ft²"
    assert shown["edge paving"] == "39.37 ft"  # 12 m
    assert shown["product"] == "turf60"
    assert shown["price"] == "610.00 USD"


def test_a_click_on_a_piece_names_it_and_its_roll(opened):
    find(opened, "Lot 001")
    opened.click_on(0)
    shown = figures(opened)
    inside = opened(
        "geoturf.pieceAt(geoturf.scene, 0, geoturf.scene.inner.x[0], geoturf.scene.inner.y[0])"
    )
    assert shown["piece"] == f"P{inside + 1:05d}"
    assert shown["roll"] == "R0001"
    assert shown["length as cut"] == "39.86 ft"  # 12.15 m


def test_a_click_beside_all_areas_clears_the_panel(opened):
    find(opened, "Lot 001")
    frame = opened.page.locator("#map_geoturf").bounding_box()
    opened.page.mouse.click(frame["x"] + 20, frame["y"] + frame["height"] / 2)
    assert opened.page.locator("#picked").is_hidden()


def test_a_hole_is_not_the_area(opened):
    hole = opened("geoturf.scene.borders.ring[2] - geoturf.scene.borders.ring[1]")
    assert hole == 2
    assert (
        opened(
            """(() => {
          const { borders } = geoturf.scene, box = borders.box.subarray(4, 8);
          return geoturf.areaAt(geoturf.scene, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2);
        })()"""
        )
        == -1
    )


def test_each_layer_switches_off_and_on(opened):
    find(opened, "Lot 001")
    picture = "geoturf.drawing._canvas.toDataURL()"
    whole = opened(picture)
    for key in ("areas", "pieces", "seams", "edges", "arrows", "names", "context"):
        box = opened.page.locator(f"#show-{key}")
        box.uncheck()
        without = opened(picture)
        assert without != whole, key
        box.check()
        assert opened(picture) == whole, key


def test_areas_take_the_colour_of_their_legend(opened):
    for key in ("arrows", "names", "pieces", "seams"):
        opened.page.locator(f"#show-{key}").uncheck()
    find(opened, "Lot 003")
    spot = opened(
        """(() => {
          const { inner } = geoturf.scene, at = map_geoturf.unproject([inner.x[4], inner.y[4]], 0);
          return [at.lng, at.lat];
        })()"""
    )
    for label in ("product", "phase", "waste", "price per ft²"):
        opened.page.locator("#colouring").select_option(label=label)
        entry = opened(
            "(() => { const c = geoturf.scene.colourings[geoturf.state.colouring]; return "
            "c.entries[c.codes[4]]; })()"
        )
        assert "#{:02x}{:02x}{:02x}".format(*opened.colour_at(spot)) == entry["colour"]
        fills = opened.page.locator("#legend rect").evaluate_all(
            "all => all.map((r) => r.getAttribute('fill'))"
        )
        assert entry["colour"] in fills


def test_places_are_where_leaflet_has_them(opened):
    """Our projection of the first border point against Leaflet's own."""
    ours = opened("[geoturf.scene.borders.x[0], geoturf.scene.borders.y[0]]")
    theirs = opened(
        """(() => {
          const deltas = geoturf.ints(geoturf.read("geoturf-areas").borders.at);
          const p = map_geoturf.project([deltas[1] * 1e-7, deltas[0] * 1e-7], 0);
          return [p.x, p.y];
        })()"""
    )
    assert ours == pytest.approx(theirs, abs=1e-9)


def test_text_from_the_data_makes_no_elements(opened):
    for name in HOSTILE:
        if name.isprintable() or "<" in name:
            find(opened, name)
    opened.page.wait_for_timeout(100)
    assert opened.page.locator("#panel img, #panel b, #panel script").count() == 0
    assert opened.complaints == []


def test_findings_and_cautions_unfold(opened):
    assert opened.page.locator("#findings summary").text_content() == "Findings: 1 error, 1 note"
    opened.page.locator("#findings summary").click()
    assert "no CRS" in opened.page.locator("#findings li.error").text_content()
    opened.page.get_by_role("button", name="Show the site").click()
    assert opened.page.locator("#picked h2").text_content() == "Lot 001"
    opened.page.locator("#cautions summary").click()
    assert opened.page.get_by_text("Call 811 before you dig.").is_visible()


def test_a_base_map_that_cannot_be_had_is_taken_off(browser, tmp_path):
    wanted = made(
        ["a", "b"], base_map="http://127.0.0.1:9/{z}/{x}/{y}.png", base_map_credit="<b>credit</b>"
    )
    (tmp_path / "map.html").write_text(maps.page(wanted, "us"), encoding="utf-8")
    it = Opened(browser, tmp_path / "map.html")
    it.page.get_by_text("The base map did not load and was taken off").wait_for()
    assert it.page.locator(".credit").count() == 0
    assert it.page.locator(".leaflet-tile").count() == 0
    it.page.close()


def test_a_base_map_is_shown_with_its_credit_as_text(browser, tmp_path):
    png = bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010806000000"
        "1f15c4890000000d49444154789c6360606060000000050001a5f645400000000049454e44ae426082"
    )
    wanted = made(
        ["a"], base_map="http://127.0.0.1:9/{z}/{x}/{y}.png", base_map_credit="<b>credit</b>"
    )
    (tmp_path / "map.html").write_text(maps.page(wanted, "us"), encoding="utf-8")
    page = browser.new_page()
    page.route(
        "http://127.0.0.1:9/**", lambda route: route.fulfill(body=png, content_type="image/png")
    )
    page.goto((tmp_path / "map.html").as_uri())
    page.locator(".leaflet-tile-loaded").first.wait_for()
    assert page.locator(".credit").text_content() == "<b>credit</b>"
    page.close()


def test_controls_have_names(opened):
    """WCAG 2.1, 4.1.2: each control has a name; the map and the canvas say what they are."""
    for control in opened.page.locator("input, select, button, summary, a[role=button]").all():
        name = control.evaluate(
            "e => (e.labels && e.labels.length ? e.labels[0].textContent : '') || "
            "e.getAttribute('aria-label') || e.textContent"
        )
        assert name.strip()
    assert opened.page.locator("#map_geoturf").get_attribute("aria-label")
    assert opened("document.documentElement.lang") == "en"


@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1024, 768), (768, 1024)])
def test_laptop_and_tablet_have_room_for_map_and_panel(opened, width, height):
    opened.page.set_viewport_size({"width": width, "height": height})
    frame, panel = (opened.page.locator(s).bounding_box() for s in ("#map_geoturf", "#panel"))
    assert frame["width"] >= 600
    assert frame["height"] >= 400
    assert panel["height"] >= 350
    assert opened("document.documentElement.scrollWidth") <= width


def test_a_tablet_is_served_by_touch(browser, file):
    it = Opened(browser, file, has_touch=True, viewport={"width": 768, "height": 1024})
    it.page.locator("#find").tap()
    it.page.keyboard.type("lot 004")
    it.page.locator("#found [role=option]").tap()
    assert it.page.locator("#picked h2").text_content() == "Lot 004"
    it.page.touchscreen.tap(*it.spot(7))
    it.page.locator("#picked h3").wait_for()
    assert it.page.locator("#picked h3").text_content() == "Area back"
    assert it.complaints == []
    it.page.close()


def test_it_prints(opened):
    """A sheet of PDF with the map, the legend, totals and cautions; and back again."""
    find(opened, "Lot 001")
    opened("window.dispatchEvent(new Event('beforeprint'))")
    assert opened.page.locator("#cautions-list").is_visible()
    assert opened("geoturf.drawing._canvas.width") > 900
    opened("window.dispatchEvent(new Event('afterprint'))")
    assert opened.page.locator("#cautions-list").is_hidden()
    opened(
        "addEventListener('beforeprint', () => (window.printed = geoturf.drawing._canvas.width))"
    )
    assert opened.page.pdf(prefer_css_page_size=True)[:5] == b"%PDF-"
    assert opened("window.printed") > 900  # the browser's own print goes the same way


def test_water_is_shown_with_its_reasons(browser, tmp_path):
    (tmp_path / "map.html").write_text(
        maps.page(made(["a", "b"], water=water_of(4)), "us"), encoding="utf-8"
    )
    it = Opened(browser, tmp_path / "map.html")
    it.page.locator("#colouring").select_option(label="what is chosen")
    assert "stays as it is" in it.page.locator("#legend").text_content()
    find(it, "a")
    it.page.get_by_role("button", name="Area front").click()
    assert it.page.locator("#picked summary").all_text_contents() == [
        "Synthetic turf",
        "Low-water planting (chosen)",
    ]
    assert it.page.get_by_text("<b>saves most</b> within the budget").nth(1).is_visible()
    find(it, "b")
    it.page.get_by_role("button", name="Area back").click()
    assert it.page.get_by_text("Water: this area is not compared").is_visible()
    it.page.close()


def test_what_would_swell_the_page_is_left_out_and_said(browser, tmp_path, monkeypatch):
    monkeypatch.setattr(layers, "MOST_PIECES", 3)
    monkeypatch.setattr(layers, "MOST_CONTEXT_POINTS", 3)
    (tmp_path / "map.html").write_text(maps.page(made(["a"]), "us"), encoding="utf-8")
    it = Opened(browser, tmp_path / "map.html")
    assert it.page.get_by_text("Too many for this page; they are in layout.gpkg.").count() == 2
    for key in ("pieces", "seams", "context"):
        assert it.page.locator(f"#show-{key}").is_disabled()
    find(it, "a")
    it.click_on(0)
    assert "piece" not in figures(it)
    assert it.complaints == []
    it.page.close()


def test_a_link_opens_a_site_in_a_colouring(browser, file):
    it = Opened(browser, file, hash="#site=Lot%20007&colour=waste")
    assert it.page.locator("#picked h2").text_content() == "Lot 007"
    assert it.page.locator("#colouring option:checked").text_content() == "waste"
    it.page.close()
    it = Opened(browser, file, hash="#site=%3Cb%3E&colour=__proto__")
    assert it.page.locator("#picked").is_hidden()
    assert it.complaints == []
    it.page.close()


def test_metric_units(browser, tmp_path):
    (tmp_path / "map.html").write_text(
        maps.page(made(["a"], units="metric"), "metric"), encoding="utf-8"
    )
    it = Opened(browser, tmp_path / "map.html")
    find(it, "a")
    it.click_on(0)
    assert figures(it)["ground area"] == "108.00 m²"
    assert it.page.locator(".leaflet-control-scale-line").all_text_contents()[0].endswith(" m")
    assert json.loads(it("JSON.stringify(geoturf.scene.bid.totals)"))[2][1].endswith("m²")
    it.page.close()


def covered(it: Opened) -> bool:
    """Whether the canvas lies under the whole frame, drawn for the map's zoom."""
    return it(
        """(() => {
          const sheet = geoturf.drawing._canvas.getBoundingClientRect();
          const frame = map_geoturf.getContainer().getBoundingClientRect();
          return sheet.left <= frame.left && sheet.top <= frame.top && sheet.right >= frame.right &&
            sheet.bottom >= frame.bottom && geoturf.drawing._zoom === map_geoturf.getZoom();
        })()"""
    )


def in_view(it: Opened) -> list[int]:
    """Areas whose inner point lies in the frame."""
    return it(
        """[...Array(geoturf.scene.count).keys()].filter((k) => {
          const { x, y } = geoturf.scene.inner;
          return map_geoturf.getBounds().contains(map_geoturf.unproject([x[k], y[k]], 0));
        })"""
    )


def filled(it: Opened, area: int) -> bool:
    """Whether an area has the colour of its legend on the canvas, at its place on the map as it is
    now."""
    lonlat, colour = it(
        f"""(() => {{
          const {{ inner, colourings }} = geoturf.scene, c = colourings[geoturf.state.colouring];
          const at = map_geoturf.unproject([inner.x[{area}], inner.y[{area}]], 0);
          return [[at.lng, at.lat], c.entries[c.codes[{area}]].colour];
        }})()"""
    )
    return "#{:02x}{:02x}{:02x}".format(*it.colour_at(lonlat)) == colour


def plain_fills(it: Opened) -> None:
    for key in ("arrows", "names", "pieces", "seams"):
        it.page.locator(f"#show-{key}").uncheck()


def test_a_long_drag_shows_no_blank_before_the_finger_is_lifted(opened):
    plain_fills(opened)
    find(opened, "Lot 012")
    opened("map_geoturf.setZoom(map_geoturf.getZoom() - 1, { animate: false })")
    before = set(in_view(opened))
    frame = opened.page.locator("#map_geoturf").bounding_box()
    x, y = frame["x"] + 60, frame["y"] + frame["height"] / 2
    opened.page.mouse.move(x, y)
    opened.page.mouse.down()
    for step in range(1, 13):
        opened.page.mouse.move(x + 60 * step, y)
        opened.page.wait_for_timeout(20)
    assert opened("map_geoturf.dragging.moved()")  # still held
    assert covered(opened)
    new = set(in_view(opened)) - before
    assert new
    assert all(filled(opened, area) for area in new)
    opened.page.mouse.up()


def test_a_short_drag_is_not_drawn_anew(opened):
    """It moves what is drawn already: drawing at every step would be slow on a large bid."""
    find(opened, "Lot 012")
    opened(
        """(() => {
          const { drawing } = geoturf, draw = drawing._draw;
          drawing.count = 0;
          drawing._draw = (view) => ((drawing.count += 1), draw.call(drawing, view));
        })()"""
    )
    frame = opened.page.locator("#map_geoturf").bounding_box()
    x, y = frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] / 2
    opened.page.mouse.move(x, y)
    opened.page.mouse.down()
    for step in range(1, 11):
        opened.page.mouse.move(x + 8 * step, y)
    opened.page.wait_for_timeout(50)
    assert opened("[geoturf.drawing.count, map_geoturf.dragging.moved()]") == [0, True]
    assert covered(opened)
    opened.page.mouse.up()


@pytest.mark.parametrize(("begin", "end"), [(60, 150), (150, 60)])
def test_a_pinch_is_drawn_while_the_fingers_are_down(browser, file, begin, end):
    it = Opened(browser, file, has_touch=True, viewport={"width": 390, "height": 844})
    plain_fills(it)
    find(it, "Lot 012")
    x, y = it.spot(22)
    touch = it.page.context.new_cdp_session(it.page)

    def fingers(apart: float) -> list[dict]:
        return [{"x": x - apart / 2, "y": y, "id": 0}, {"x": x + apart / 2, "y": y, "id": 1}]

    before = it("map_geoturf.getZoom()")
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": fingers(begin)})
    for step in range(1, 11):
        apart = begin + (end - begin) * step / 10
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": fingers(apart)})
        it.page.wait_for_timeout(30)
    assert (it("map_geoturf.getZoom()") > before) == (end > begin)
    assert covered(it)
    assert filled(it, 22)
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    it.page.wait_for_timeout(400)
    assert covered(it)
    assert it.complaints == []
    it.page.close()


def shown_of(it: Opened, selector: str) -> float:
    """How many pixels of an element's height can be seen within the panel."""
    return it(
        f"""(() => {{
          const panel = document.getElementById("panel").getBoundingClientRect();
          const box = document.querySelector({selector!r}).getBoundingClientRect();
          const bottom = Math.min(box.bottom, panel.bottom, innerHeight);
          return bottom - Math.max(box.top, panel.top, 0);
        }})()"""
    )


def test_on_a_phone_the_figures_of_what_is_tapped_come_into_view(browser, file):
    it = Opened(browser, file, has_touch=True, viewport={"width": 390, "height": 844})
    find(it, "Lot 004")
    it.page.touchscreen.tap(*it.spot(7))
    it.page.locator("#picked h3").wait_for()
    assert shown_of(it, "#picked") > 250
    assert shown_of(it, "#picked dl div:nth-child(5)") > 20
    assert it("document.documentElement.scrollWidth") <= 390
    assert it("scrollY") == 0  # the map stays where it is
    it.page.close()


def test_on_a_wide_screen_the_panel_stays_where_it_is_unless_it_is_scrolled_away(opened):
    find(opened, "Lot 004")
    assert opened("document.getElementById('panel').scrollTop") == 0
    opened("document.getElementById('panel').scrollTop = 1e6")
    opened.click_on(6)
    assert shown_of(opened, "#picked h2") > 15


def test_the_office_map_says_so_in_title_and_heading(opened):
    assert opened.page.title() == "Bid of Lot 001: office map"
    assert "Not for the client" in opened.page.locator("#audience").inner_text()


def test_no_number_of_the_totals_is_broken_across_lines(opened):
    """Beside a long name a price of eight figures stays on one line."""
    heights = opened(
        """(() => {
            const [row] = document.querySelectorAll("#totals div");
            row.querySelector("dt").textContent = "turf on every area would be";
            const said = row.querySelector("dd");
            return ["13,989,646.10 USD, estimated", "13,989,646.10", "1"].map((text) => {
                said.textContent = text;
                const words = document.createRange();
                words.setStart(said.firstChild, 0);
                words.setEnd(said.firstChild, text.indexOf(" ") < 0 ? text.length : 13);
                return words.getClientRects().length;
            });
        })()"""
    )
    assert heights == [1, 1, 1]


def test_the_client_map_tells_prices_and_has_nothing_else_to_show(browser, tmp_path):
    path = tmp_path / "map.html"
    path.write_text(
        maps.page(made(SITES, left_out=2, water=water_of(4)), "us", maps.CLIENT), encoding="utf-8"
    )
    it = Opened(browser, path)
    assert it.page.title() == "Bid of Lot 001: map and prices"
    find(it, "Lot 002")
    assert figures(it)["price"] == "1,007.00 USD"
    find(it, "Lot 001")
    it.click_on(0)
    shown = figures(it)
    assert shown["price"] == "600.00 USD"
    assert shown["ground area"] == "1,162.50 ft²"
    assert not {"cost", "waste", "turf bought", "pieces", "piece", "roll"} & set(shown)
    assert it.page.locator("#audience, #findings").evaluate_all(
        "all => all.map((e) => e.hidden)"
    ) == [True, True]
    assert it.page.locator("#colouring option").all_text_contents() == [
        "product",
        "phase",
        "price per ft²",
    ]
    assert it.page.locator("#show-pieces, #show-seams").count() == 0
    assert it.page.locator("#banner").text_content() == (
        "2 areas are NOT PRICED: left out of this bid and of this map."
    )
    for key in ("areas", "edges", "arrows", "names", "context"):
        picture = it("geoturf.drawing._canvas.toDataURL()")
        it.page.locator(f"#show-{key}").uncheck()
        assert it("geoturf.drawing._canvas.toDataURL()") != picture, key
    assert it.complaints == []
    assert it.requests == [path.as_uri()]
    it.page.close()
