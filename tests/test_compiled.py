"""Compiled code is that of the sources as they stand; it is kept where it can be; and the kernels
run without the compiler."""

import ast
import csv
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import geoturf
from geoturf import compiled, tables
from geoturf.layout import kernel

PACKAGE = Path(geoturf.__file__).parent
OUTER = (
    "from geoturf.compiled import inner, jit\nfrom geoturf.below import times\n\n@jit\ndef "
    "outer(x):\n    return times(x)\n"
)
BELOW = "from geoturf.compiled import inner, jit\n\n@inner\ndef times(x):\n    return {n} * x\n"
CALL = "from geoturf.above import outer as f; print(f(7), sum(f.stats.cache_misses.values()))"


@pytest.fixture
def small(tmp_path):
    """A package of the same name with two compiled functions, each in its file: `outer`, which
    calls `times`."""
    package = tmp_path / "site" / "geoturf"
    package.mkdir(parents=True)
    shutil.copy(PACKAGE / "compiled.py", package)
    (package / "__init__.py").write_text("")
    (package / "above.py").write_text(OUTER)
    (package / "below.py").write_text(BELOW.format(n=3))
    return package


def called(package, code=CALL, **env):
    """What a new process prints."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("NUMBA", "PYTHON"))}
    clean |= {
        "PYTHONPATH": str(package.parent),
        "XDG_CACHE_HOME": str(package.parent / "cache"),
        **env,
    }
    run = subprocess.run(
        [sys.executable, "-c", code], env=clean, capture_output=True, text=True, cwd=package.parent
    )
    return run.stdout.split() or run.stderr


def test_a_change_in_what_a_compiled_function_calls_is_seen(small):
    """The answer is 7 times the number in the other file; the count is of compilings."""
    assert called(small) == ["21", "1"]
    assert called(small) == ["21", "0"]
    (small / "below.py").write_text(BELOW.format(n=5))
    assert called(small) == ["35", "1"]
    kept = [path.name for path in (small / "__pycache__").glob("*.nbi")]
    assert len(kept) == 2, "what was kept of the older sources is gone"


@pytest.mark.parametrize("what", ["*.nbi", "*.nbc"])
def test_what_was_kept_and_is_damaged_is_made_anew(small, what):
    called(small)
    for path in (small / "__pycache__").glob(what):
        path.write_bytes(path.read_bytes()[:40])
    assert called(small) == ["21", "1"]
    assert called(small) == ["21", "0"]


def test_the_folder_that_the_user_names_is_used(small):
    assert called(small, NUMBA_CACHE_DIR=str(small.parent / "mine")) == ["21", "1"]
    assert list((small.parent / "mine").rglob("*.nbc")) and not list(small.rglob("*.nbc"))


def test_nowhere_to_keep_it_is_known(small):
    """Files stand where the folders would be made, so that root cannot make them either."""
    (small / "__pycache__").write_text("")
    (small.parent / "cache").write_text("")
    told = (
        "from geoturf import above, compiled; print(above.outer(7), compiled.kept(), "
        "compiled.compiled_now(above.outer, 7.0))"
    )
    assert called(small, told) == ["21", "False", "False"]


def test_nowhere_to_keep_it_is_said_in_one_line(lawns, bid_file, tmp_path, capsys, monkeypatch):
    from geoturf import cli

    lawns((0, 0, 40, 30))
    monkeypatch.setattr(compiled, "kept", lambda: False)
    assert cli.main(["run", str(bid_file()), "--out", str(tmp_path / "out")]) == cli.DONE
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("warning: ") and "NUMBA_CACHE_DIR" in line


@pytest.mark.skipif(
    os.environ.get("NUMBA_DISABLE_JIT") == "1", reason="nothing compiled to compare with"
)
def test_without_the_compiler_the_tables_are_the_same(lawns, bid_file, tmp_path):
    """One lawn with a notch, run by Python itself and compiled; the compiled kernels have no other
    way to the same numbers."""
    lawns((0, 0, 40, 30), (100, 0, 20, 14))
    for off in ("0", "1"):
        (tmp_path / off).mkdir()
    code = (
        "import sys, pathlib, geoturf, geoturf.tables, geoturf.layout.kernel as k; print(type(k.turf_on).__name__)\n"
        f"result = geoturf.run(geoturf.read_bid({str(bid_file())!r}))\n"
        "geoturf.tables.write(result, pathlib.Path(sys.argv[1]))"
    )
    assert type(kernel.turf_on).__name__ == "CPUDispatcher"
    tables.write(geoturf.run(geoturf.read_bid(bid_file())), tmp_path / "0")
    plain = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "1")],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert plain.stdout.strip() == "function"
    for name in ("areas.csv", "pieces.csv", "rolls.csv", "bid.csv"):
        with (
            (tmp_path / "0" / name).open(newline="") as one,
            (tmp_path / "1" / name).open(newline="") as other,
        ):
            assert list(csv.reader(one)) == list(csv.reader(other)), name


@pytest.mark.parametrize("path", compiled.files(), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_compiled_functions_take_names_from_compiled_files_alone(path):
    """So that the digest of those files covers all that goes into compiled code, records that they
    take included: of those the compiler keeps the name, not the fields."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    counted = {
        ".".join(p.relative_to(PACKAGE.parent).with_suffix("").parts) for p in compiled.files()
    }
    counted.add("geoturf.compiled")
    foreign = {
        alias.asname or alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        and node.module.startswith("geoturf")
        and node.module not in counted
        for alias in node.names
    }
    for function in (node for node in tree.body if isinstance(node, ast.FunctionDef)):
        if function.decorator_list:
            used = {
                node.id
                for line in (function.args, *function.body)
                for node in ast.walk(line)
                if isinstance(node, ast.Name)
            }
            assert not used & foreign, function.name


def test_every_module_with_compiled_functions_counts():
    users = {
        p
        for p in PACKAGE.rglob("*.py")
        if any(w in p.read_text() for w in ("\n@jit", "\n@inner", "\n@inlined"))
    }
    assert users <= set(compiled.files()) and len(users) > 5
