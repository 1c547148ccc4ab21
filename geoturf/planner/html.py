"""A small safe builder of HTML: whatever is not markup made here is text, and text is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


class Markup(str):
    """Markup made by this builder; any other string is text."""

    __slots__ = ()


def tag(name: str, *children: object, **attributes: object) -> Markup:
    """``<name …>children</name>``. Children that are not `Markup` become escaped text; ``class_`` gives ``class``, and
    an underscore within a name a hyphen."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(str(value), quote=True)}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{name}{given}>{joined(children)}</{name}>")


def joined(children: Iterable[object]) -> Markup:
    """Children one after another, texts escaped."""
    return Markup("".join(child if isinstance(child, Markup) else escape(str(child), quote=True) for child in children))


def section(title: str, *children: object) -> Markup:
    return tag("section", tag("h2", title), *children)


def table(head: Sequence[str], rows: Iterable[Sequence[object]], text: Sequence[int] = (0,)) -> Markup:
    """A table; columns numbered in ``text`` are words, all others figures, set to the right."""
    kinds = ["t" if place in text else "n" for place in range(len(head))]
    top = tag("tr", *(tag("th", word, class_=kind, scope="col") for word, kind in zip(head, kinds, strict=True)))
    body = [tag("tr", *(tag("td", cell, class_=kind) for cell, kind in zip(row, kinds, strict=True))) for row in rows]
    return tag("div", tag("table", tag("thead", top), tag("tbody", *body)), class_="wide")


def folded(title: str, *children: object) -> Markup:
    return tag("details", tag("summary", title), *children)


def bullets(lines: Iterable[object]) -> Markup:
    return tag("ul", *(tag("li", line) for line in lines))


def note(*children: object) -> Markup:
    """A paragraph in small print."""
    return tag("p", *children, class_="note")


MOST_ROWS = 500  # of a long table; the CSV has them all


def cut(rows: int) -> Markup:
    """Says that a long table stops, where it does."""
    return note(f"The first {MOST_ROWS:,} of {rows:,} rows.") if rows > MOST_ROWS else Markup("")
