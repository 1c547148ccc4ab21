"""What may be asked of the command line: its commands and their arguments."""

from __future__ import annotations

import argparse

from geoturf.cli.terminal import safe

TYPE_CHECKING = (
    False  # type checkers know the name; importing typing itself would double the time of --help
)
if TYPE_CHECKING:
    from typing import NoReturn

_EPILOG = """\
example:
  geoturf run sample_gis/development.toml
  geoturf run lawns.geojson --out lawns_bid

exit status: 0 done; 1 the input is refused, nothing is written; 2 wrong usage;
3 done, but areas or files were left out (--strict makes that a refusal);
4 done, but standard output could not be written; 130 or 143 stopped by
Ctrl-C or SIGTERM
"""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with the arguments, which may be names of files, as safely as all else."""

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        super().exit(status, safe(message) if message else None)


def parser() -> argparse.ArgumentParser:
    top = _Parser(
        prog="geoturf",
        description="From polygons to a priced synthetic-turf bid, for thousands of sites at once.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(
        dest="command", metavar="run | check | draft | compare | audit | rules | explain | sample"
    )

    run = commands.add_parser("run", help="read a bid file or GIS files and write the finished bid")
    _add_inputs(run, "one bid file (.toml), or GIS files run with every default")
    _add_folder(run, "reports/<name of the input>")
    _add_engine(run)
    _add_strict(run, "refuse the whole run when anything would be left out")
    run.add_argument(
        "--papers",
        metavar="WHICH",
        help="papers to print: all, none, or readers such as crew,buyer; "
        "all for up to 200 sites and 5,000 pieces if not given",
    )
    run.add_argument(
        "--estimate",
        action="store_true",
        help="estimate turf and seams from the shapes instead of laying them",
    )
    run.add_argument(
        "--lay",
        nargs="+",
        metavar="SITE",
        help="lay these sites and estimate the others",
    )
    _add_quiet(run, "print nothing but refusals and what was left out")

    check = commands.add_parser("check", help="read only, and report what is odd about the input")
    _add_inputs(check, "one bid file (.toml), or GIS files")
    _add_strict(check, "exit 1 when anything would be left out")

    draft = commands.add_parser("draft", help="write a commented starter bid file for GIS files")
    draft.add_argument("inputs", nargs="+", metavar="GIS")
    draft.add_argument(
        "-o", "--out", metavar="BID.toml", help="file to write; printed if not given"
    )

    compare = commands.add_parser(
        "compare", help="what moved between two reports, and why, to the cent"
    )
    for name in ("old", "new"):
        compare.add_argument(
            name,
            metavar=name.upper(),
            help=f"the {name} report's folder, or a bid file (.toml), which is run first",
        )
    _add_folder(compare, "reports/<OLD>_to_<NEW>")
    _add_engine(compare)
    _add_quiet(compare, "print nothing but refusals")

    again = commands.add_parser(
        "audit", help="reckon a report again, by other means, from the input and the bid"
    )
    again.add_argument("folder", metavar="FOLDER", help="a report that geoturf wrote")
    again.add_argument(
        "inputs",
        nargs="*",
        metavar="INPUT",
        help="the bid file (.toml) it is of, or its GIS files; without them "
        "what can be audited is, and the rest is said",
    )

    rules = commands.add_parser("rules", help="print every default, its range and its source")
    rules.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="only the rules whose name or text holds all these words",
    )

    explain = commands.add_parser(
        "explain", help="say what a column, code, rule or file of a report means"
    )
    explain.add_argument(
        "word", metavar="WORD", help="such as waste_pct, overlap, min_piece_width, cut_plan.csv"
    )

    sample = commands.add_parser("sample", help="write the sample bids")
    sample.add_argument(
        "folder", nargs="?", default="sample_gis", metavar="DIR", help="sample_gis if not given"
    )
    return top


def _add_inputs(command: argparse.ArgumentParser, what: str) -> None:
    command.add_argument(
        "inputs",
        nargs="+",
        metavar="INPUT",
        help=what,
    )


def _add_folder(command: argparse.ArgumentParser, usual: str) -> None:
    command.add_argument("--out", metavar="DIR", help=f"folder to write; {usual} if not given")


def _add_strict(command: argparse.ArgumentParser, what: str) -> None:
    command.add_argument("--strict", action="store_true", help=what)


def _add_quiet(command: argparse.ArgumentParser, what: str) -> None:
    command.add_argument("--quiet", action="store_true", help=what)


def _add_engine(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--workers",
        type=_workers,
        metavar="N",
        help="processes for the layout; all cores if not given",
    )
    command.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="a Dask scheduler to lay out on instead (needs geoturf[cluster])",
    )


def _workers(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number of processes from 1 to 256")
    return int(text)
