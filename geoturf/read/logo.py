"""A bidder's logo: a small picture from beside the bid file, and nothing that reaches beyond
itself."""

from __future__ import annotations

import re
import stat
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass
from pathlib import Path

from geoturf.errors import BidError
from geoturf.model import Finding

MOST_BYTES = 500_000
MOST_PIXELS = 4_000  # of a side
_MOST_SHAPES = 5_000
_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8\xff"
# of an SVG: what runs, loads, or may stand for ever more of itself
_NOT_DRAWN = ("script", "image", "use", "foreignObject", "style", "filter", "pattern", "marker")
# frames of a JPEG that tell its size (ITU-T T.81 table B.1): all SOFn but DHT, JPG and DAC
_FRAMES = {0xC0 + k for k in range(16)} - {0xC4, 0xC8, 0xCC}


@dataclass(frozen=True)
class Logo:
    """``kind``: png, jpg or svg, as its bytes say, whatever its file is called."""

    kind: str
    content: bytes


def logo(folder: str | Path, path: str) -> Logo:
    """The picture at ``path``, from the bid's ``folder``. Raises `BidError` in one line where it is
    not beside the bid, too large, or no picture that is safe to draw."""
    try:
        content = _content(Path(folder), path)
        return Logo(_kind(content), content)
    except OSError as error:
        fault = error.strerror or str(error)
    except ValueError as error:
        fault = str(error)
    raise BidError(Finding("error", "bad-logo", f"bidder.logo: {fault}", file=path))


def _content(folder: Path, path: str) -> bytes:
    """Raises `OSError`, or `ValueError` with what is wrong."""
    home = folder.resolve()
    file = (folder / path).resolve()
    if not file.is_relative_to(home):
        raise ValueError("is not beside the bid file; put it there")
    found = file.stat()
    if not stat.S_ISREG(found.st_mode):
        raise ValueError("is no regular file")
    if found.st_size > MOST_BYTES:
        raise ValueError(f"has {found.st_size:,} bytes, and {MOST_BYTES:,} is the most; shrink it")
    return file.read_bytes()[: MOST_BYTES + 1]


def _kind(content: bytes) -> str:
    """Raises `ValueError` with what is wrong."""
    if content.startswith(_PNG):
        width, height = (int.from_bytes(content[at : at + 4], "big") for at in (16, 20))
        _refuse_large(width, height)
        return "png"
    if content.startswith(_JPEG):
        _refuse_large(*_jpeg_size(content))
        return "jpg"
    _refuse_unsafe(content)
    return "svg"


def _refuse_large(width: int, height: int) -> None:
    if not (0 < width <= MOST_PIXELS and 0 < height <= MOST_PIXELS):
        most = f"{MOST_PIXELS:,} each way is the most"
        raise ValueError(f"is {width:,} by {height:,} pixels, and {most}; shrink it")


def _jpeg_size(content: bytes) -> tuple[int, int]:
    """Width and height by the frame's header (ITU-T T.81 B.2.2)."""
    at = 2
    while at + 9 <= len(content) and content[at] == 0xFF:
        height, width = (int.from_bytes(content[at + k : at + k + 2], "big") for k in (5, 7))
        if content[at + 1] in _FRAMES:
            return width, height
        at += 2 + int.from_bytes(content[at + 2 : at + 4], "big")
    raise ValueError("is no whole JPEG")


def _refuse_unsafe(content: bytes) -> None:
    """Raises `ValueError` for what is no SVG of plain shapes."""
    try:
        text = content.decode("utf-8-sig")
        if re.search("<!(DOCTYPE|ENTITY)", text, re.IGNORECASE):
            raise ValueError("has a DOCTYPE or entities; save it as plain SVG without")
        shapes = list(ElementTree.fromstring(text).iter())
    except (UnicodeDecodeError, ElementTree.ParseError, RecursionError):
        raise ValueError("is no PNG, JPEG or SVG") from None
    names = [str(shape.tag).rpartition("}")[2] for shape in shapes]
    if names[0] != "svg":
        raise ValueError("is no PNG, JPEG or SVG")
    if len(shapes) > _MOST_SHAPES:
        raise ValueError(f"has {len(shapes):,} shapes, and {_MOST_SHAPES:,} is the most")
    if refused := next((name for name in names if name in _NOT_DRAWN), ""):
        raise ValueError(f"has <{refused}>; save it as plain shapes")
    if any(_reaches_out(shape) for shape in shapes):
        raise ValueError("refers to something outside itself; save it as plain shapes")


def _reaches_out(shape: ElementTree.Element) -> bool:
    for name, value in shape.attrib.items():
        referred = re.findall(r"url\(\s*['\"]?(.)", value)
        referred += [value[:1]] if name.rpartition("}")[2] == "href" else []
        if any(first != "#" for first in referred):
            return True
    return False
