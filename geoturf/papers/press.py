"""From plain data to a PDF, by typst: offline, tagged, the same bytes for the same data.

Data reach a paper as one JSON text, never as source, so a name such as ``#import`` or ``$x$`` is
printed as it stands.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

_TYPE = Path(__file__).parent / "type"

# A PDF's metadata hold a time, which may not hang on the clock; what a client reads stands on the
# page.
_STAMP = 0

# Marks that turn or hide the text beside them, and what no page can show.
_TURNING = re.compile("[\u202a-\u202e\u2066-\u2069\u200e\u200f\u061c]")
_UNPRINTABLE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_LONG_WORD = re.compile(r"\S{25,}")
_SOME = re.compile(r"\S{6}(?=\S)")  # of a long word, as many letters as the narrowest column holds
_MAY_BREAK = "\u200b"


class Unprintable(ValueError):
    """Data that typst finds no way to print, such as a damaged picture."""


def printed(template: str, data: Mapping[str, Any]) -> bytes:
    """The PDF of ``type/<template>.typ`` with ``data``: what JSON can hold, or bytes, and in it
    ``page`` ("letter" or "a4"). Raises `Unprintable`."""
    text = json.dumps(_plain(data), ensure_ascii=True, allow_nan=False)
    source = _TYPE / f"{template}.typ"
    import typst

    # one a paper, since threads may not share it; of fonts only those that typst brings with it, so
    # that a paper is the same on every machine
    compiler = typst.Compiler(root=str(_TYPE), ignore_system_fonts=True)
    try:
        made = compiler.compile(
            input=str(source), format="pdf", sys_inputs={"data": text}, timestamp=_STAMP
        )
    except typst.TypstError as fault:
        raise Unprintable(str(fault)) from None
    return cast(bytes, made)


def letters() -> list[tuple[int, float, float]]:
    """How wide letters are in the papers' font, in thousandths of their size: code, regular and
    bold."""
    import typst

    path = _TYPE / "letters.typ"
    told = typst.query(
        str(path), "<letters>", field="value", one=True, root=str(_TYPE), ignore_system_fonts=True
    )
    return [(int(code), plain, bold) for code, plain, bold in json.loads(told)]


def _plain(value: Any) -> Any:
    """``value`` with every text fit for a page: nothing that turns what stands beside it, and long
    words may break. Bytes, which are a picture, become a list of numbers."""
    if isinstance(value, str):
        shown = _UNPRINTABLE.sub("\ufffd", _TURNING.sub("", value))
        return _LONG_WORD.sub(_may_break, shown)
    if isinstance(value, bytes):
        return list(value)
    if isinstance(value, Mapping):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return value


def _may_break(long_word: re.Match[str]) -> str:
    return _SOME.sub(lambda some: some[0] + _MAY_BREAK, long_word[0])
