"""The page that the map stands in: made by folium, which never sees data.

folium renders what it is given as a template, so a site called ``{{ ... }}`` would run as code. It
therefore renders an empty map and our own fixed text; scripts, styles and data are put in
afterwards, in the place of marks.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from functools import cache
from importlib.resources import files
from typing import Any, cast

import folium
from branca.element import Element, Figure

STYLES = ("map.css",)
SCRIPTS = (
    "read.js",
    "scene.js",
    "canvas.js",
    "draw.js",
    "labels.js",
    "panel.js",
    "picked.js",
    "find.js",
    "controls.js",
    "start.js",
)
_LANDMARK = 'role="region" aria-label="Map" class="folium-map"'
_HEAD = "<!--geoturf head-->"
_END = "<!--geoturf end-->"
LEAFLET = "1.9.4"  # the version in web/leaflet


def page(title: str, islands: dict[str, Any], base_map: str = "") -> str:
    """The whole text of the page. ``islands``: id -> plain data (what JSON can hold, without
    NaN)."""
    head = leaflet_whole() + "".join(_style(web(name)) for name in STYLES)
    end = "".join(f"<script>\n{web(name)}</script>\n" for name in SCRIPTS)
    text = _frame().replace(_HEAD, head, 1).replace(_END, end, 1)
    policy = content_security_policy(text, base_map)
    named = f"<title>{html.escape(plain(title))}</title>\n"
    charset = '<meta charset="utf-8">\n'
    allowed = f'<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
    text = text.replace("<head>", f"<head>\n{charset}{allowed}{named}", 1)
    # Data comes last, so that nothing is ever sought in or rendered from a text that holds it.
    data = "".join(island(name, value) for name, value in islands.items())
    start = text.index("<!--geoturf data-->")
    return text[:start] + data + text[start + len("<!--geoturf data-->") :]


@cache
def _frame() -> str:
    """folium's page around an empty map, with our fixed text and marks in it; the same bytes each
    time."""
    drawn = folium.Map(
        location=[0, 0],
        zoom_start=2,
        tiles=None,
        zoom_control=False,
        attributionControl=False,
        zoomSnap=0.25,
        maxZoom=24,
    )
    drawn._id = "geoturf"  # folium draws a random one, which would change the file from run to run
    drawn.default_js = []  # on the instance: the lists of the class are shared
    drawn.default_css = []
    root = cast("Figure", drawn.get_root())  # of a map it is always the figure around it
    root.html.add_child(Element(web("panel.html") + "<!--geoturf data-->"), name="panel", index=0)
    root.header.add_child(Element(_HEAD), name="head")
    text = root.render()
    # readers may zoom (WCAG 1.4.4)
    text = text.replace("maximum-scale=1.0, user-scalable=no", "viewport-fit=cover")
    text = text.replace("<html>", '<html lang="en">', 1)
    # a landmark of its own beside the panel's (WAI-ARIA 1.2, region)
    text = text.replace('<div class="folium-map"', f"<div {_LANDMARK}", 1)
    return text.replace("</html>", f"{_END}</html>", 1)


def web(name: str) -> str:
    """One of our own scripts or styles."""
    return (files("geoturf.maps") / "web" / name).read_text(encoding="utf-8")


def leaflet_whole() -> str:
    """All of Leaflet that a page holds: licence (it asks to be passed on), style, script."""
    licence = f"<!--\nLeaflet {LEAFLET}, under this licence:\n\n{leaflet('LICENSE')}-->\n"
    return f"{licence}{_style(leaflet('leaflet.css'))}<script>{leaflet('leaflet.js')}</script>\n"


def leaflet(name: str) -> str:
    """One of Leaflet's own files, without the reference to its source map and with its images
    inside."""
    folder = files("geoturf.maps") / "web" / "leaflet"
    text = (folder / name).read_text(encoding="utf-8")
    text = re.sub(r"//# sourceMappingURL=\S+\s*", "", text)

    def inside(match: re.Match[str]) -> str:
        image = base64.b64encode((folder / match[1]).read_bytes()).decode("ascii")
        return f"url(data:image/png;base64,{image})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", inside, text)


def island(name: str, value: Any) -> str:
    """Plain data as a JSON block that a browser keeps and never runs. All but ASCII is escaped,
    ``<``, ``>`` and ``&`` too, so that no text in it can end the block."""
    text = json.dumps(
        value,
        ensure_ascii=True,
        allow_nan=False,
        separators=(",", ":"),
    )
    text = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return f'<script type="application/json" id="{name}">{text}</script>\n'


def content_security_policy(text: str, base_map: str = "") -> str:
    """What the page may do: run and style by exactly the inline blocks it has (by hash), show its
    own images and the base map's; nothing else, no request."""
    scripts = " ".join(_hashes(text, "script"))
    styles = " ".join(_hashes(text, "style"))
    images = f"data: {tile_host(base_map)}".strip()
    return (
        f"default-src 'none'; script-src {scripts}; style-src {styles}; img-src {images}; "
        "base-uri 'none'; form-action 'none'"
    )


def _hashes(text: str, tag: str) -> list[str]:
    blocks = re.findall(rf"<{tag}>(.*?)</{tag}>", text, flags=re.DOTALL)
    return list(dict.fromkeys(map(_hash, blocks)))


def _hash(block: str) -> str:
    digest = hashlib.sha256(block.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def tile_host(url: str) -> str:
    """The source a tile URL needs in the policy (``https://*.example.org``); "" where it is no
    usable tile URL."""
    marks = set(re.findall(r"{(.*?)}", url))
    has_place = {"z", "x"} < marks and marks & {"y", "-y"}
    if not has_place or not marks <= {"s", "z", "x", "y", "-y", "r"}:
        return ""
    match = re.match(r"(https?)://([^/?#\s]+)/", url)
    if match is None:
        return ""
    scheme = match[1]
    server = match[2]
    host = re.sub(r"^[\w-]*{s}[\w-]*\.", "*.", server)
    if not re.fullmatch(r"(\*\.)?[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*(:\d{1,5})?", host):
        return ""
    return f"{scheme}://{host}"


def plain(text: str) -> str:
    """The text with what no UTF-8 file can hold (lone surrogates) replaced."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _style(text: str) -> str:
    return f"<style>{text}</style>\n"
