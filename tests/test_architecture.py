"""The shape of the house: data goes one way, stages do not know each other, the rim alone reads,
writes and prints."""

import ast
import io
import subprocess
import sys
import tokenize
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import geoturf

PACKAGE = Path(geoturf.__file__).parent
STAGES = {
    "read",
    "ground",
    "parcels",
    "edges",
    "layout",
    "cuts",
    "materials",
    "price",
    "calendar",
    "risk",
    "water",
    "check",
}
SHARED = {
    "compiled",
    "knapsack",
    "model",
    "rules",
    "units",
    "records",
    "text_storage",
    "errors",
    "engine",
    "pile",
    "plane",
    "highs",
    "threads",
    "bid",
    "data",
}
FILES = sorted(p for p in PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    """The room a file belongs to: the first part of its path below the package."""
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def nodes(path: Path) -> tuple[ast.AST, ...]:
    return tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def imports(path: Path) -> set[str]:
    """Dotted names of all that a file imports, at any depth."""
    names: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def rooms_imported(path: Path) -> set[str]:
    return {
        name.split(".")[1]
        for name in imports(path)
        if name.startswith("geoturf.") and name.count(".") >= 1
    }


@pytest.mark.parametrize(
    "path", [p for p in FILES if room(p) in STAGES], ids=lambda p: str(p.relative_to(PACKAGE))
)
def test_no_stage_imports_another_stage(path):
    assert rooms_imported(path) <= SHARED | {room(path)}


@pytest.mark.parametrize("path", [p for p in FILES if room(p) == "audit"], ids=lambda p: p.name)
def test_the_audit_shares_no_code_with_what_it_audits(path):
    """It reads and reckons for itself: of geoturf it imports nothing."""
    assert rooms_imported(path) <= {"audit"}
    assert not {name for name in imports(path) if name.split(".")[0] in ("geopandas", "pandas")}


def test_no_room_imports_itself_by_way_of_others():
    """Every room, the rim's too, and imports inside functions: who is imported is there before who
    imports it."""
    graph: dict[str, set[str]] = {}
    for path in FILES:
        graph.setdefault(room(path), set()).update(rooms_imported(path) - {room(path)})
    list(TopologicalSorter(graph).static_order())  # raises CycleError, which names the circle


@pytest.mark.parametrize(
    ("library", "rooms"),
    [
        ("folium", {"maps"}),
        ("markupsafe", {"planner"}),
        ("fiona", {"read", "draft"}),
        ("pyproj", {"ground", "audit"}),
        ("highspy", {"highs", "layout", "cuts", "water"}),
        ("numba", {"compiled"}),
        ("xlsxwriter", {"workbook"}),
        ("typst", {"papers"}),
        ("rich", {"cli"}),
    ],
)
def test_a_library_stays_in_its_room(library, rooms):
    users = {room(p) for p in FILES if any(name.split(".")[0] == library for name in imports(p))}
    assert users <= rooms


def test_stocked_widths_are_gathered_in_one_place():
    """`Product.widths`; a price line alone names the entry of ``more_rolls`` that a price was
    written in, and the audit gathers them for itself."""
    assert {room(p) for p in FILES if "more_rolls" in p.read_text(encoding="utf-8")} <= {
        "rules",
        "price",
        "audit",
    }


def test_only_the_command_line_prints():
    def prints(path):
        return any(
            isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id == "print"
            for n in nodes(path)
        )

    assert {room(p) for p in FILES if prints(p)} == {"cli"}


def test_there_is_no_drawer_for_odds_and_ends():
    assert not [p for p in FILES if p.stem in ("utils", "helpers", "common", "misc")]


def nodes_and_lines(path: Path) -> tuple[int, int]:
    """Syntax nodes of a file (names, calls, constants …, not the signs between them), and its lines
    of code: without blank ones, comments and docstrings."""
    text = path.read_text(encoding="utf-8")
    tree = ast.parse(text)
    signs = (ast.expr_context, ast.operator, ast.cmpop, ast.boolop, ast.unaryop)
    nodes = sum(not isinstance(node, signs) for node in ast.walk(tree))
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.type not in NO_CODE:
            lines |= set(range(token.start[0], token.end[0] + 1))
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and ast.get_docstring(
            node
        ):
            lines -= set(range(node.body[0].lineno, node.body[0].end_lineno + 1))
    return nodes, len(lines)


NO_CODE = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}


def test_nodes_and_lines_are_counted_as_by_hand(tmp_path):
    """By hand: module, assignment, name, sum, name and constant are 6; a function of a name that is
    returned has 5 more (definition, arguments, argument, return, name)."""
    path = tmp_path / "two.py"
    path.write_text(
        '"""Of no count."""  # nor this\n\na = b + 1  # a comment\ndef f(x):\n    return x\n'
    )
    assert nodes_and_lines(path) == (6 + 5 + 2, 3)  # a docstring is two nodes


def test_a_line_says_one_thing():
    """Under seven syntax nodes a line of code over the package."""
    counted = [nodes_and_lines(path) for path in FILES]
    assert sum(nodes for nodes, _ in counted) < 7 * sum(lines for _, lines in counted)


def test_no_test_file_imports_another():
    """What several need stands in a file of its own, named for what it holds."""
    tests = Path(__file__).parent
    known = {path.stem for path in tests.glob("test_*.py")}
    assert not {
        (path.name, name)
        for path in [*tests.glob("*.py"), *tests.glob("bench/*.py")]
        for name in imports(path)
        if name.split(".")[0] in known
    }


def test_help_imports_nothing_heavy():
    code = (
        "import sys, geoturf.cli; geoturf.cli.parser().format_help(); print(*sorted(sys.modules))"
    )
    loaded = set(
        subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.split()
    )
    assert not loaded & {
        "geopandas",
        "pandas",
        "numpy",
        "shapely",
        "pydantic",
        "rich",
        "folium",
        "numba",
        "pyproj",
        "fiona",
    }


def test_every_public_name_loads_and_stays_what_it_is():
    """Twice: a public name must not be hidden by a module of the same name once that is
    imported."""
    first = {name: getattr(geoturf, name) for name in geoturf.__all__}
    assert {name: getattr(geoturf, name) for name in geoturf.__all__} == first
