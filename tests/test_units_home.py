"""No conversion factor stands outside `units.py`: the sources are read for numbers that look like
one."""

import ast
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import geoturf
from geoturf import units

PACKAGE = Path(geoturf.__file__).parent
HOME = PACKAGE / "units.py"
#: the audit's own sizes, which must not be those of `units.py`
SECOND_HOME = PACKAGE / "audit" / "factors.py"
SOURCES = sorted(path for path in PACKAGE.rglob("*.py") if path not in (HOME, SECOND_HOME))
SCRIPTS = sorted(path for path in (PACKAGE / "maps" / "web").glob("*.js"))
#: customary units and what is made of them, in SI
CUSTOMARY = (
    *(
        "in",
        "ft",
        "yd",
        "mi",
        "in^2",
        "ft^2",
        "yd^2",
        "acre",
        "in^3",
        "ft^3",
        "yd^3",
        "gal",
        "hcf",
        "acre_ft",
        "acre_in",
    ),
    *("fl_oz", "oz", "lb", "ton", "lb/ft", "oz/yd^2", "lb/ft^2", "gal/ft^2", "lb/ft^3", "ton/yd^3"),
)
#: what one customary unit is in another (NIST SP 811 (2008) Appendix B, from memory)
BETWEEN = {
    "square inches in an inch deep square foot, to gallons": 144 / 231,
    "cubic inches in a gallon": 231,
    "cubic inches in a cubic foot": 1728,
    "square feet in an acre": 43_560,
    "feet in a mile": 5280,
    "gallons in a cubic foot": 1728 / 231,
    "gallons in an acre-foot": 43_560 * 1728 / 231,
}
NEAR = 4e-4  # a rounded factor is one still: 3.28, 10.76
SMALL = {
    3,
    9,
    12,
    16,
    27,
    36,
    144,
    2000,
}  # too common to tell by themselves; not beside the name of a unit
DECIMAL = re.compile(r"(?<![\w.#])\d*\.\d+(?:e[+-]?\d+)?(?![\w.])", re.IGNORECASE)
#: numbers that only look like a factor: (file, number as written) -> what it is
NO_FACTOR = {
    ("ground/mercator.py", "90720"): "a denominator of Krueger's series",
    ("rules/water/__init__.py", "0.62338"): "told to the reader, beside what it is of",
}


def factors() -> dict[str, float]:
    """Every factor and its inverse, with and without a prefix of milli, centi, hecto or kilo."""
    sizes = {name: units.unit_factor(name)[0] for name in CUSTOMARY}
    sizes |= {"US survey foot": units.US_SURVEY_FOOT_M, **BETWEEN}
    both = sizes | {f"1 / {name}": 1 / size for name, size in sizes.items()}
    return {
        f"{name} x 1e{k}": size * 10.0**k for name, size in both.items() for k in (-3, -2, 0, 2, 3)
    }


FACTORS = factors()
SIZES = np.array(list(FACTORS.values()))


@cache
def factor_in(number: str) -> str | None:
    """The factor that a number as written is, to three digits; None where it is none or has fewer
    digits than that."""
    digits = re.sub(r"e.*|[_,.]", "", number.lower()).strip("0")
    if len(digits) < 3 or not digits.isdecimal():  # not decimal: 0x1F
        return None
    value = float(re.sub("[_,]", "", number))
    near = np.flatnonzero(abs(value / SIZES - 1) < NEAR)
    return list(FACTORS)[near[0]] if len(near) else None


def docstrings(tree: ast.AST) -> set[int]:
    """Ids of the constants that are docstrings."""
    owners = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    first = (node.body[0] for node in ast.walk(tree) if isinstance(node, owners) and node.body)
    return {id(one.value) for one in first if isinstance(one, ast.Expr)}


def numbers(source: str) -> list[str]:
    """Numbers of a Python source as written, and the decimals in its texts (a sheet's formula is a
    text)."""
    tree = ast.parse(source)
    lines = source.encode().split(b"\n")  # columns of a tree are bytes
    aside = docstrings(tree)
    found: list[str] = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in aside:
            continue
        if isinstance(node.value, str):
            found += DECIMAL.findall(node.value)
        elif isinstance(node.value, int | float) and not isinstance(node.value, bool):
            line = lines[node.lineno - 1]
            found.append(line[node.col_offset : node.end_col_offset].decode())
    return found


def units_made_anew(source: str) -> list[str]:
    """Products and quotients such as ``12 * INCH_M``, which have a name of their own."""
    return [ast.unparse(node) for node in ast.walk(ast.parse(source)) if _is_made_anew(node)]


def _is_made_anew(node: ast.AST) -> bool:
    if not isinstance(node, ast.BinOp) or not isinstance(node.op, ast.Mult | ast.Div):
        return False
    sides = (node.left, node.right)
    small = any(isinstance(side, ast.Constant) and side.value in SMALL for side in sides)
    return small and any(_names_a_unit(side) for side in sides)


def _names_a_unit(node: ast.AST) -> bool:
    word = (
        node.id
        if isinstance(node, ast.Name)
        else node.attr
        if isinstance(node, ast.Attribute)
        else ""
    )
    return isinstance(getattr(units, word, None), float)


def named(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


@pytest.mark.parametrize("path", SOURCES, ids=named)
def test_only_one_file_knows_the_factors(path):
    source = path.read_text(encoding="utf-8")
    told = {number: factor_in(number) for number in numbers(source)}
    strangers = {
        number: factor
        for number, factor in told.items()
        if factor and (named(path), number) not in NO_FACTOR
    }
    assert not strangers
    assert not units_made_anew(source)


@pytest.mark.parametrize("path", SCRIPTS, ids=named)
def test_the_maps_scripts_know_none_either(path):
    found = DECIMAL.findall(path.read_text(encoding="utf-8"))
    assert not {number: factor_in(number) for number in found if factor_in(number)}


def test_what_is_let_through_is_there_still():
    for file, number in NO_FACTOR:
        assert number in numbers((PACKAGE / file).read_text(encoding="utf-8"))
        assert factor_in(number)


@pytest.mark.parametrize(
    "number",
    [
        *(
            "0.3048",
            "3.281",
            "25.4",
            "0.0254",
            "39.37",
            "29.49",
            "29.4935",
            "0.6233",
            "43560",
            "43,560",
            "43_560",
        ),
        *(
            "0.45359237",
            "2.2046",
            "3.785",
            "0.003785",
            "264.17",
            "7.48",
            "748",
            "0.092903",
            "10.764",
            "1609.344",
            "325851",
        ),
    ],
)
def test_a_factor_is_known_however_it_is_written(number):
    assert factor_in(number)


@pytest.mark.parametrize(
    "number", ["0", "1", "12", "0.62", "1000", "6378137.0", "0.001", "100", "360", "365.25", "8766"]
)
def test_other_numbers_are_no_factors(number):
    assert factor_in(number) is None


def test_a_unit_made_anew_is_seen():
    assert units_made_anew(
        "a = 12 * INCH_M\nb = units.FT2_M2 / 144\nc = INCH_M / 2\nd = 1000 * FOOT_M"
    ) == [
        "12 * INCH_M",
        "units.FT2_M2 / 144",
    ]


ROUNDED_UP = re.compile(r"\bceil\((?:[^()]|\([^()]*\))*- (?:1e-[4-7]|MILLIONTH)\)")
#: compiled, and so without arrays and calls out of it; negative, where a count may not be clipped
ROUNDED_APART = {"layout/byhand.py", "layout/likely.py", "layout/parting.py"}


def test_a_millionth_over_buys_no_more_in_one_place():
    """`units.round_up` and `units.whole_steps`; the check and the audit round for themselves."""
    own = {
        named(path)
        for path in SOURCES
        if named(path).split("/")[0] not in ("audit", "check")
        and ROUNDED_UP.search(path.read_text(encoding="utf-8"))
    }
    assert own == ROUNDED_APART


def test_rounding_up_elsewhere_is_seen():
    assert ROUNDED_UP.search("np.ceil(cut[:, 1] / step_m - 1e-6)")
    assert ROUNDED_UP.search("math.ceil(usable - MILLIONTH)")
