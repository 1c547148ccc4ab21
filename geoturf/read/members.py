"""The members of a GeoJSON file, told without GDAL, which passes over what is no Feature without a
word.

The text is decoded member by member, a block at a time: memory is that of the largest member,
whatever the file's size.
"""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Generator, Iterator
from typing import IO, Any

_BLOCK = 1 << 22  # bytes read at a time
_LONGEST = 1 << 27  # letters of a ring
#: positions, one after another: most of the text, and nothing to do with what a member is. They are
#: taken for one number
_POSITIONS = re.compile(r"\[[-+0-9.eE\s]+,[-+0-9.eE,\s]+\](?:\s*,\s*\[[-+0-9.eE,\s]+\])*")
_AFTER = tuple(',:]}{[" \t\r\n\x1e')  # what may stand after a value
_GAP = re.compile(
    r"[\s\x1e]*"
)  # between two texts of a sequence there may also stand a record separator (RFC 8142)


BROKEN = object()


class NotJson(ValueError):
    """The text is no JSON (or the file ends within it)."""


def members(file: IO[bytes]) -> Iterator[tuple[Any, bool]]:
    """Each member of ``features`` (RFC 7946 section 3.3), and True; of a file that is no
    FeatureCollection, each text in it, and False; `BROKEN` for a line that is no JSON in a file of
    many texts. Raises `NotJson`."""
    text = _Text(file)
    texts = 0
    while text.peek():
        try:
            own = yield from _object(text) if text.peek() == "{" else _one(text)
        except NotJson:
            if not texts:
                raise
            text.skip_line()
            own = BROKEN
        if own is not None:
            texts += 1
            yield own, False


def _one(text: _Text) -> Generator[tuple[Any, bool], None, Any]:
    """A text that is no object."""
    yield from ()
    return text.value()


def _object(text: _Text) -> Generator[tuple[Any, bool], None, Any]:
    """The members of an object's ``features``; returns the object where it lists none."""
    own: dict[str, Any] | None = {}
    text.take("{")
    while text.peek() != "}":
        key = text.value()
        text.take(":")
        if key == "features" and text.peek() == "[":
            own = None
            yield from _array(text)
        elif own is None:
            text.value()
        else:
            own[str(key)] = text.value()
        if text.peek() != "}":
            text.take(",")
    text.take("}")
    return own


def _array(text: _Text) -> Iterator[tuple[Any, bool]]:
    text.take("[")
    while text.peek() != "]":
        yield text.value(), True
        if text.peek() != "]":
            text.take(",")
    text.take("]")


class _Text:
    """JSON text read as far as it is needed."""

    def __init__(self, file: IO[bytes]):
        self.file, self.decode = file, codecs.getincrementaldecoder("utf-8-sig")("replace").decode
        self.text = ""
        self.at = 0
        self.ended = False
        self.rest = (
            ""  # what was read past the last quote or ring: positions may go on in the next block
        )
        self.parse = json.JSONDecoder().raw_decode

    def more(self, size: int) -> None:
        block = self.file.read(size)
        self.ended = not block
        told = self.rest + self.decode(block, self.ended)
        end = len(told) if self.ended else max(told.rfind('"'), told.rfind("]]") + 1) + 1
        self.text = self.text[self.at :] + _POSITIONS.sub("0", told[:end])
        self.at = 0
        self.rest = told[end:]
        if len(self.rest) > _LONGEST:
            raise NotJson("no end of a text or a ring")

    def peek(self) -> str:
        """The next letter that is no white space; "" at the end."""
        while True:
            self.at = _GAP.match(self.text, self.at).end()  # type: ignore[union-attr]  # it may be empty
            if self.at < len(self.text) or self.ended:
                return self.text[self.at : self.at + 1]
            self.more(_BLOCK)

    def take(self, letter: str) -> None:
        if self.peek() != letter:
            raise NotJson(letter)
        self.at += 1

    def skip_line(self) -> None:
        """Past the end of the line. Text that could not be parsed has been read to its end."""
        end = self.text.find("\n", self.at)
        self.at = len(self.text) if end < 0 else end + 1

    def value(self) -> Any:
        """The value that stands next. Where the text read so far ends with it or within it, more is
        read: twice as much each time, so that a large member is not parsed too often."""
        if not self.peek():
            raise NotJson("the file ends")
        size = _BLOCK
        while True:
            try:
                value, end = self.parse(self.text, self.at)
            except (ValueError, RecursionError) as error:
                if self.ended:
                    raise NotJson(str(error)) from None
            else:
                if (
                    self.ended or self.text[end : end + 1] in _AFTER
                ):  # 1.5 may have been read as far as 1.
                    self.at = end
                    return value
            self.more(size)
            size *= 2
