"""Finding codes: each is written out where it is said, and `geoturf explain` tells what it means.

What takes a code takes it as ``code: str``: a record (`Finding` first of all), a method, a
function. Each call of one is found in the sources, and what it gives as the code is read there.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

import geoturf
from geoturf import data
from geoturf.explain import explain

ROOM = Path(geoturf.__file__).parent
ROWS = data.rows_of("codes")
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)


@cache
def sources() -> dict[str, ast.Module]:
    """Every module's name and tree."""
    paths = sorted(ROOM.rglob("*.py"))
    names = [".".join(["geoturf", *p.relative_to(ROOM).with_suffix("").parts]) for p in paths]
    trees = [ast.parse(path.read_text("utf-8")) for path in paths]
    return dict(zip((name.removesuffix(".__init__") for name in names), trees, strict=True))


class Said(NamedTuple):
    """What a call gives as a finding's code, where, and whether that is what the function around it
    was given."""

    place: str
    given: ast.expr
    handed_on: bool


def slot(node: ast.AST) -> int | None:
    """At which place a function, or a record's class, takes a finding's code; None where it takes
    none."""
    taken = []
    if isinstance(node, FUNCTION):
        taken = [
            (one.arg, one.annotation) for one in node.args.args if one.arg not in ("self", "cls")
        ]
    if isinstance(node, ast.ClassDef):
        taken = [
            (one.target.id, one.annotation) for one in node.body if isinstance(one, ast.AnnAssign)
        ]
    names = [
        name for name, kind in taken if name != "code" or (kind and ast.unparse(kind) == "str")
    ]
    return names.index("code") if "code" in names else None


def below(tree: ast.AST, in_class: bool = False) -> Iterator[tuple[str, int, bool]]:
    """All that takes a code: its name, the place of the code, and whether it is a method."""
    for node in ast.iter_child_nodes(tree):
        at = slot(node)
        if at is not None:
            yield node.name, at, in_class
        yield from below(node, isinstance(node, ast.ClassDef))


@cache
def takers() -> tuple[dict[str, int], dict[tuple[str, str], int]]:
    """At which place what takes a code does: methods, by name; functions and records, by module and
    name."""
    found = [(module, *one) for module, tree in sources().items() for one in below(tree)]
    methods = {name: at for _, name, at, method in found if method}
    return methods, {(module, name): at for module, name, at, method in found if not method}


def homes(tree: ast.Module, module: str) -> dict[str, tuple[str, str]]:
    """What a module imports by name, and its own functions and classes: module and name of each."""
    nodes = list(ast.walk(tree))
    own = {
        node.name: (module, node.name)
        for node in nodes
        if isinstance(node, (*FUNCTION, ast.ClassDef))
    }
    imports = [node for node in nodes if isinstance(node, ast.ImportFrom)]
    return own | {
        one.asname or one.name: (node.module or "", one.name)
        for node in imports
        for one in node.names
    }


def place_of_code(call: ast.Call, home: dict[str, tuple[str, str]]) -> int | None:
    """Where in a call the code is, if it takes one. A name of no home may be a method that was put
    by (``warn = say.warn``)."""
    methods, others = takers()
    if isinstance(call.func, ast.Attribute):
        return None if ast.unparse(call.func.value) == "warnings" else methods.get(call.func.attr)
    name = getattr(call.func, "id", "")
    return others.get(home[name]) if name in home else methods.get(name)


def calls(tree: ast.AST, inside: bool = False) -> Iterator[tuple[ast.Call, bool]]:
    """Each call, and whether it stands in a function that was given a code."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Call):
            yield node, inside
        yield from calls(node, inside or (isinstance(node, FUNCTION) and slot(node) is not None))


@cache
def all_said() -> list[Said]:
    found = []
    for module, tree in sources().items():
        home = homes(tree, module)
        for call, inside in calls(tree):
            at = place_of_code(call, home)
            if at is None:
                continue
            named = {word.arg: word.value for word in call.keywords}
            given = named["code"] if "code" in named else call.args[at]
            text = ast.unparse(given)
            handed_on = text.endswith(".code") or (inside and text == "code")
            found.append(Said(f"{module}, line {call.lineno}", given, handed_on))
    return found


def written(given: ast.expr) -> list[str]:
    """The codes that an expression may be: a text, or one of two by a condition; none for anything
    else."""
    if isinstance(given, ast.Constant) and isinstance(given.value, str):
        return [given.value]
    if isinstance(given, ast.IfExp) and written(given.body) and written(given.orelse):
        return written(given.body) + written(given.orelse)
    return []


def said() -> dict[str, str]:
    """Each code that geoturf can say, and a place where it does."""
    return {code: one.place for one in all_said() for code in written(one.given)}


def test_codes_are_written_out_where_they_are_said():
    """So that they can be searched for, and so that no code escapes the tests below."""
    made = [
        f"{one.place}: {ast.unparse(one.given)}"
        for one in all_said()
        if not (one.handed_on or written(one.given))
    ]
    assert made == []


def test_what_takes_codes_is_found():
    """The ways that reading, checking, bids and terrain have of saying one: if a name goes, the
    collection is looked at."""
    methods, others = takers()
    assert methods.keys() >= {"refuse", "leave_out", "pass_over", "warn", "note"}
    assert others.keys() >= {
        ("geoturf.model", "Finding"),
        ("geoturf.check.finding", "told"),
        ("geoturf.bid", "refused"),
        ("geoturf.ground.terrain", "_refused"),
    }
    assert said().keys() >= {
        "winding",
        "no-geometry",
        "not-covered",
        "no-bid-file",
        "no-terrain",
        "same-name",
        "sliver",
    }


def test_no_code_is_without_a_row_and_no_row_is_unused():
    places, rows = said(), [row["code"] for row in ROWS]
    lacking = [f"{code} (said in {places[code]})" for code in sorted(places.keys() - set(rows))]
    assert not lacking, f"geoturf/data/codes.csv has no row for: {'; '.join(lacking)}"
    unused = sorted(set(rows) - places.keys())
    assert not unused, f"geoturf/data/codes.csv has rows that nothing says: {', '.join(unused)}"
    assert rows == sorted(set(rows)), "a row stands once, in the order of the alphabet"


def test_rows_say_what_and_what_to_do_in_a_line():
    told = [text for row in ROWS for text in (row["meaning"], row["mend"])]
    assert [
        text
        for text in told
        if not 10 <= len(text) <= 200 or text != text.strip() or text.endswith(".")
    ] == []


@pytest.mark.parametrize(
    "code", ["overlap", "no-crs", "bad-value", "not-covered", "assumed-rates", "climate-month"]
)
def test_a_code_is_explained(code):
    assert [
        text
        for text in explain(code.upper())
        if text.startswith(f"finding {code}\n") and "What to do: " in text
    ]


def test_every_code_is_explained():
    explained = {
        text.splitlines()[0].removeprefix("finding ") for code in said() for text in explain(code)
    }
    assert said().keys() <= explained
