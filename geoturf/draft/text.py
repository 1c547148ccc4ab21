"""The starter bid file, as commented TOML. Every text from the data is escaped: a name is never a
line of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from geoturf.bid import every_rule
from geoturf.bid.listing import toml
from geoturf.draft import guess, water
from geoturf.model import Finding
from geoturf.read.look import Held
from geoturf.read.place import known
from geoturf.read.say import counted, listed
from geoturf.rules.layer import PRICED, Role

_WIDE = 44  # where comments start
_VIEW = "layout", "view"
_SECTIONS = (
    "bidder",
    "client",
    "terms",
    "ground",
    "parcels",
    "edges",
    "layout",
    "cuts",
    "materials",
    "price",
)


def starter(
    name: str, held: Sequence[Held], paths: Sequence[str], findings: Sequence[Finding]
) -> str:
    """The whole file. ``paths``: of each layer, from the bid file's folder."""
    roles = guess.roles(held)
    lines = [
        "# A starter bid, written by geoturf draft. What is marked GUESS was guessed from names: "
        "read it through.",
        "# Then:  geoturf check THIS.toml   and   geoturf run THIS.toml",
        "",
        _line("name", name, "what the bid is called on every report"),
        _line("units", "us", "or metric: units of the reports"),
        _line("currency", "USD", "currency of every price"),
    ]
    lines += [_comment(f"not read: {f.line()}") for f in findings if f.severity == "error"]
    for one, path, (role, why) in zip(held, paths, roles, strict=True):
        lines += ["", *_layer(one, path, role, why)]
    watered = water.lines(_watered(held, roles))
    lines += [
        *_products(held, roles),
        "",
        *watered,
        *([""] if watered else []),
        *_rules(any(role == "parcel" for role, _ in roles)),
    ]
    return "\n".join(lines) + "\n"


def _watered(held: Sequence[Held], roles: Sequence[tuple[str, str]]) -> dict[str, list[object]]:
    """The first values of the columns that a comparison of water looks at, of all priced layers."""
    found: dict[str, list[object]] = {}
    for one, (role, _) in zip(held, roles, strict=True):
        sure, guesses = guess.columns(one)
        for ours, theirs in (sure | guesses).items():
            if role in PRICED and ours in water.COLUMNS and (given := guess.values(one, theirs)):
                found.setdefault(ours, []).extend(given)
    return found


def _line(key: str, value: object, comment: str = "") -> str:
    text = f"{key} = {toml(value)}"
    if comment:
        return _beside(text, comment)
    return text


def _beside(text: str, comment: str) -> str:
    """A line with a comment after it, in the comments' column where there is room."""
    return f"{text:<{_WIDE - 2}}  {_comment(comment)}"


def _comment(text: str) -> str:
    return "# " + "".join(c if c.isprintable() else " " for c in text)


def _layer(held: Held, path: str, role: str, why: str) -> list[str]:
    crs = known(held.crs)
    where = "without CRS"
    if crs is not None:
        where = f"in {crs.name}"
    lines = [
        "[[layers]]",
        _line("path", path, f"{counted(held.count, 'feature')} ({held.geometry}) {where}"),
    ]
    if held.inner:
        lines.append(_line("layer", held.inner, "the layer inside the file"))
    if not role:
        if guess.areal(held):
            lines.append(
                _line("role", "turf", "takes it in, once these lines are freed of their #")
            )
        commented = [_comment(line) for line in lines]
        return [_comment(f"NOT USED: {why}"), *commented]
    lines.append(
        _line("role", role, f"GUESS, {why}; {listed(get_args(Role), len(get_args(Role)))}")
    )
    if role in ("fence", "planter"):
        lines.append(_comment(f'an edging along it: "{role}" among edging_on of [edges]'))
    if crs is None:
        lines.append(
            _comment(
                'crs = "EPSG:..."  the file states none: state it here, or the file is left out'
            )
        )
    lines.append(
        _comment('sigma = "0.5 ft"  positional accuracy of the source, one sigma, if known')
    )
    return lines + (_columns(held) if role in ("turf", "parcel") else [])


def _columns(held: Held) -> list[str]:
    sure, guesses = guess.columns(held)
    lines = (
        [
            _comment(
                f"maps by itself: {listed(f'{theirs} ({ours})' for ours, theirs in sure.items())}"
            )
        ]
        if sure
        else []
    )
    if "site" not in {**sure, **guesses}:
        lines.append(
            _comment(f"no site column: each feature is a site, named '{held.name} 1' and so on")
        )
    if guesses:
        lines.append("[layers.columns]")
        lines += [
            _line(ours, theirs, f"GUESS; {_examples(held, theirs)}")
            for ours, theirs in guesses.items()
        ]
    others = [name for name in held.columns if name not in {*sure.values(), *guesses.values()}]
    if others:
        lines.append(_comment(f"not used: {listed(others, 30)}"))
    return lines


def _examples(held: Held, column: str) -> str:
    values = list(dict.fromkeys(str(v)[:20] for v in guess.values(held, column)))
    return f"such as {listed((toml(v) for v in values[:3]), 3)}"


def _products(held: Sequence[Held], roles: Sequence[tuple[str, str]]) -> list[str]:
    """A table for each product that the data name, or one."""
    named: dict[str, None] = {}
    for one, (role, _) in zip(held, roles, strict=True):
        sure, guesses = guess.columns(one)
        column = {**sure, **guesses}.get("product")
        if role in PRICED and column:
            named |= dict.fromkeys(str(v).strip() for v in guess.values(one, column))
    rows = [row for row in every_rule() if row[0] == "products.<name>"]
    lines: list[str] = []
    for k, name in enumerate(sorted(named) or ["turf60"]):
        said = (
            "named in the data; its figures are defaults, not its own"
            if named
            else "the default turf"
        )
        lines += [
            "",
            _beside(
                f"[products.{toml(name) if named else name}]", f"{said}; add a table for each turf"
            ),
        ]
        for _, key, default, low, high, source, what in rows:
            usual = ""
            if low and high:
                usual = f"; usual {low} to {high}"
            default = toml(name) if named and key == "title" else default
            stands = f"{key} = {default}" if default != "(none)" else f"# {key} = ..."
            lines.append(_beside(stands, f"{what}{usual} ({source})" if k == 0 else ""))
    return [line.rstrip(" #") if line.endswith("# ") else line for line in lines]


def _proposed_view() -> str:
    """The rule that areas seen together lean one way, on: a client sees that first."""
    what = (
        "front yards in a row, areas of a park, areas that a path parts lean one way; what that "
        "costs "
        'is told. "given": only what the column view names'
    )
    return _line(_VIEW[1], "auto", what)


def _rules(parcels: bool) -> list[str]:
    """The rules of each stage, commented out at their defaults; those of [layout] first, after the
    one that is proposed."""
    lines = [
        "[layout]",
        _proposed_view(),
        "# Every rule below stands at its default: take off the # to change it (of its [section] "
        "too).",
    ]
    last = _VIEW[0]
    # a table that has a key which is needed is there whole or not at all
    needy = {section for section, _, default, *_ in every_rule() if default == "(needed)"}
    layout_first = sorted(every_rule(), key=lambda row: row[0] != _VIEW[0])
    for section, key, default, low, high, source, what in layout_first:
        top = section.split(".")[0]
        if (
            top not in _SECTIONS
            or section in needy
            or (top == "parcels" and not parcels)
            or section == "price.alternates"
            or "<name>" in section
        ):
            continue
        if section != last:
            lines += ["", f"# [{section}]"]
            last = section
        if (section, key) == _VIEW:
            continue
        usual = ""
        if low and high:
            usual = f"; usual {low} to {high}"
        shown = "..." if default == "(none)" else default
        whence = f" ({source})" if source else ""
        lines.append(_beside(f"# {key} = {shown}", f"{what}{usual}{whence}"))
    return lines
