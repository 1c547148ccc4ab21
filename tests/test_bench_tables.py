"""Tables of the benchmarks' report are put there by a script, each under the heading of its own."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

BENCH = Path(__file__).parent / "bench"
spec = importlib.util.spec_from_file_location("bench_write", BENCH / "write.py")
write = importlib.util.module_from_spec(spec)
spec.loader.exec_module(write)

REPORT = (
    "# All\n\n## Runs (`run.py`)\n\nSome words.\n\n| s |\n|---|\n| 1 |\n\nMore.\n\n"
    "## Cuts (`cuts.py 50`)\n\n| c |\n|---|\n| 7 |\n"
)


def test_a_table_replaces_the_one_under_its_scripts_heading_and_nothing_else():
    made = write.replaced(REPORT, "run.py", "help: 2.8\n\n| s |\n|---|\n| 2 |\n| 3 |\n")
    assert made == REPORT.replace("| 1 |\n", "| 2 |\n| 3 |\n")


def test_a_heading_may_name_the_scripts_arguments():
    made = write.replaced(REPORT, "cuts.py", "| c |\n|---|\n| 8 |\n")
    assert made == REPORT.replace("| 7 |", "| 8 |")


@pytest.mark.parametrize(("script", "said"), [("run.py", "0 tables"), ("map.py", "no heading")])
def test_what_does_not_fit_is_refused(script, said):
    with pytest.raises(ValueError, match=said):
        write.replaced(REPORT, script, "no table\n")


def test_every_benchmark_with_a_section_is_there():
    named = [path.name for path in BENCH.glob("*.py") if path.name != "write.py"]
    report = write.REPORT.read_text(encoding="utf-8")
    headings = [line for line in report.splitlines() if line.startswith("## ") and ".py" in line]
    assert headings and all(any(f"`{name}" in line for name in named) for line in headings)
