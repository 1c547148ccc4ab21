"""The page's parts in HTML: whatever is not markup made here is text, and text is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from markupsafe import Markup, escape

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
_META = Markup(
    '<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
)
MOST_ROWS = 500  # of a long table; the CSV has them all


def document(title: str, style: str, *children: object, policy: str = _POLICY) -> str:
    """The whole text of a page that asks for nothing; ``style`` is a style sheet, which stands in
    it as it is, ``policy`` what the page may do: by itself no script."""
    safe = Markup(f'<meta http-equiv="Content-Security-Policy" content="{policy}">')
    head = tag("head", _META, safe, tag("title", title), tag("style", Markup(f"\n{style}")))
    body = tag("body", tag("main", *children))
    return f"<!doctype html>\n{tag('html', head, body, lang='en')}\n"


def tag(name: str, *children: object, **attributes: object) -> Markup:
    """``<name …>children</name>``. Children that are not `markupsafe.Markup` become escaped text;
    ``class_`` gives ``class``, an underscore within a name a hyphen, and None no attribute."""
    given = (_attribute(key, value) for key, value in attributes.items() if value is not None)
    return Markup(f"<{name}{''.join(given)}>{joined(children)}</{name}>")


def as_it_is(text: str) -> Markup:
    """Text that is markup already, such as a script of ours."""
    return Markup(text)


def _attribute(key: str, value: object) -> str:
    name = key.rstrip("_").replace("_", "-")
    return f' {name}="{escape(str(value))}"'


def joined(children: Iterable[object]) -> Markup:
    """Children one after another, texts escaped."""
    return Markup("").join(escape(child) for child in children)


def section(title: str, *children: object) -> Markup:
    return tag("section", tag("h2", title), *children)


def table(
    head: Sequence[str],
    rows: Iterable[Sequence[object]],
    text: Sequence[int] = (0,),
) -> Markup:
    """A table; columns numbered in ``text`` are words, all others figures, set to the right."""
    kinds = ["t" if place in text else "n" for place in range(len(head))]
    named = zip(head, kinds, strict=True)
    top = [tag("th", word, class_=kind, scope="col") for word, kind in named]
    body = [_row(row, kinds) for row in rows]
    lines = tag("thead", tag("tr", *top)), tag("tbody", *body)
    return wide(tag("table", *lines))


def wide(child: Markup) -> Markup:
    """What scrolls by itself where the page is narrow, by the keyboard too."""
    told = {
        "tabindex": "0",
        "role": "group",
        "aria_label": "scrolls sideways",
    }
    return tag("div", child, class_="wide", **told)


def _row(words: Sequence[object], kinds: Sequence[str]) -> Markup:
    cells = [tag("td", word, class_=kind) for word, kind in zip(words, kinds, strict=True)]
    return tag("tr", *cells)


def folded(title: str, *children: object) -> Markup:
    return tag("details", tag("summary", title), *children)


def bullets(lines: Iterable[object]) -> Markup:
    items = [tag("li", line) for line in lines]
    return tag("ul", *items)


def note(*children: object) -> Markup:
    """A paragraph in small print."""
    return tag("p", *children, class_="note")


def cut(rows: int) -> Markup:
    """Says that a long table stops, where it does."""
    if rows > MOST_ROWS:
        return note(f"The first {MOST_ROWS:,} of {rows:,} rows.")
    return Markup("")
