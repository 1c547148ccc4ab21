"""Names in docstrings and comments exist: what stands there between single backticks."""

import ast
import builtins
import importlib
import io
import re
import sys
import tokenize
from collections import defaultdict
from collections.abc import Iterator
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path

import pytest

import geoturf
from geoturf import data

PACKAGE = Path(geoturf.__file__).parent
FILES = sorted(PACKAGE.rglob("*.py"))
_TOLD = re.compile(r"(?<!`)`([A-Za-z_]\w*(?:\.\w+)*)`(?!`)")


def module_of(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


def bound(body: list[ast.stmt]) -> Iterator[str]:
    """Names that statements of a module or a class bind: definitions, values, imports, fields."""
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.AnnAssign | ast.Assign):
            targets = [node.target] if isinstance(node, ast.AnnAssign) else node.targets
            yield from (name.id for one in targets for name in ast.walk(one) if is_name(name))
        elif isinstance(node, ast.Import | ast.ImportFrom):
            yield from (one.asname or one.name.split(".")[0] for one in node.names)
        elif isinstance(node, ast.If | ast.Try | ast.With):
            yield from bound(node.body)


def is_name(node: ast.AST) -> bool:
    return isinstance(node, ast.Name)


def members(node: ast.ClassDef) -> set[str]:
    """A class's methods, fields and what it sets of itself."""
    own = (one.attr for one in ast.walk(node) if isinstance(one, ast.Attribute))
    return {*bound(node.body), *own}


class House:
    """Every name of the package: by module, by class."""

    def __init__(self, files: list[Path]) -> None:
        self.names: dict[str, set[str]] = {}
        self.members: dict[str, set[str]] = defaultdict(set)
        self.files = {path.name for path in PACKAGE.rglob("*")}
        self.files |= {Path(row["file"]).name for row in data.rows_of("files")}
        for path in files:
            tree = ast.parse(path.read_text(encoding="utf-8"))
            self.names[module_of(path)] = set(bound(tree.body))
            for node in ast.walk(tree):
                if isinstance(node, ast.ClassDef):
                    self.members[node.name] |= members(node)
        self.names["geoturf"] |= set(geoturf.__all__)  # which load when they are first used
        self.every = set().union(*self.names.values(), *self.members.values())
        self.every |= {part for name in self.names for part in name.split(".")}

    def has(self, told: str, near: set[str]) -> bool:
        """Whether a name is one of the package's, of those ``near`` in its file, or of a library
        it uses."""
        if told in self.files or told in near or told in self.every or hasattr(builtins, told):
            return True
        if "." not in told:
            return told in sys.stdlib_module_names or find_spec(told) is not None
        return self._of_module(told) or self._of_class(told) or of_library(told)

    def _of_module(self, told: str) -> bool:
        """``geoturf.layout.kernel.turn``, or ``kernel.turn`` for short."""
        for module, names in self.names.items():
            if f".{module}".endswith(f".{told}"):
                return True
            for cut in range(1, told.count(".") + 1):
                parts = told.rsplit(".", cut)
                here = f".{module}".endswith(f".{parts[0]}") and parts[1] in names
                if here and self._of_class(".".join(parts[1:])):
                    return True
        return False

    def _of_class(self, told: str) -> bool:
        """``Takeoff.items``."""
        parts = told.split(".")
        return all(name in self.members.get(of, ()) for of, name in pairwise(parts))


def of_library(told: str) -> bool:
    """``shapely.difference``."""
    first, *rest = told.split(".")
    if first == "geoturf" or find_spec(first) is None:
        return False
    found = importlib.import_module(first)
    for name in rest:
        if not hasattr(found, name):
            return False
        found = getattr(found, name)
    return True


def told_in(path: Path) -> Iterator[tuple[int, str]]:
    """Names between single backticks, each with its line, in docstrings and comments."""
    source = path.read_text(encoding="utf-8")
    comments = [
        (token.start[0], token.string)
        for token in tokenize.generate_tokens(io.StringIO(source).readline)
        if token.type == tokenize.COMMENT
    ]
    docstrings = [
        (node.lineno, str(node.value.value))
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    ]
    for line, text in comments + docstrings:
        yield from ((line, name) for name in _TOLD.findall(text))


def inside(path: Path) -> set[str]:
    """Names of a file's functions' arguments and variables."""
    nodes = [*ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    arguments = {node.arg for node in nodes if isinstance(node, ast.arg)}
    functions = {node.name for node in nodes if isinstance(node, ast.FunctionDef)}
    return arguments | functions | {node.id for node in nodes if isinstance(node, ast.Name)}


def unknown(path: Path, house: House) -> list[str]:
    near = inside(path)
    return [
        f"{path.name}:{line} {name}" for line, name in told_in(path) if not house.has(name, near)
    ]


@pytest.fixture(scope="module")
def house() -> House:
    return House(FILES)


def test_every_name_in_a_docstring_exists(house):
    wrong = {path.relative_to(PACKAGE): unknown(path, house) for path in FILES}
    assert not {path: lines for path, lines in wrong.items() if lines}


@pytest.mark.parametrize(
    "name",
    ["geoturf.layout.gone", "geoturf.model.Price.gone", "kernel.gone", "Takeoff.gone", "gone.py"],
)
def test_a_name_that_is_gone_is_found(name, house, tmp_path):
    path = tmp_path / "one.py"
    path.write_text(f'"""As `{name}` does, with `geoturf.model.Price.lines`."""\n')
    assert unknown(path, house) == [f"one.py:1 {name}"]
