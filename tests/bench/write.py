"""Runs a benchmark and puts its tables into reports/benchmarks.md, in place of those under the
heading that names the script:

    python tests/bench/write.py run.py [arguments of run.py]

Refused where the script prints more or fewer tables than stand there. Words around the tables stay
as they are: read them again.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

REPORT = Path(__file__).parents[2] / "reports" / "benchmarks.md"
TABLE = re.compile(r"(?:^\|.*\n)+", re.MULTILINE)


def replaced(report: str, script: str, printed: str) -> str:
    """The report with the tables of a script's section replaced by those it ``printed``. Raises
    `ValueError` where there are not as many."""
    heading = re.search(rf"^## .*`{re.escape(script)}\b.*\n", report, re.MULTILINE)
    if heading is None:
        raise ValueError(f"no heading names {script}")
    next_one = re.search(r"^## ", report[heading.end() :], re.MULTILINE)
    end = heading.end() + next_one.start() if next_one else len(report)
    section, made = report[heading.end() : end], TABLE.findall(printed)
    known = TABLE.findall(section)
    if len(known) != len(made):
        raise ValueError(f"{script} prints {len(made)} tables, its section has {len(known)}")
    tables = iter(made)
    section = TABLE.sub(lambda _: next(tables), section)
    return report[: heading.end()] + section + report[end:]


def main() -> None:
    script, *arguments = sys.argv[1:]
    command = [sys.executable, str(Path(__file__).with_name(script)), *arguments]
    run = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    print(run.stdout)
    report = REPORT.read_text(encoding="utf-8")
    REPORT.write_text(replaced(report, script, run.stdout), encoding="utf-8")


if __name__ == "__main__":
    main()
