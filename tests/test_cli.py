"""The command line: what it says, what it returns, and that nobody sees a traceback."""

import ast
import io
import json
import re
import resource
import shutil
import subprocess
import sys
from pathlib import Path

import geopandas
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from geoturf import cli

SAMPLE = Path(__file__).parent.parent / "sample_gis"


def run(capsys, *arguments):
    """Exit status, standard output and standard error of one call; papers are printed where they
    are asked for."""
    if arguments[:1] == ("run",) and "--papers" not in arguments:
        arguments = (*arguments, "--papers", "none")
    try:
        status = cli.main([str(a) for a in arguments])
    except SystemExit as stop:
        status = stop.code
    out = capsys.readouterr()
    return status, out.out, out.err


def test_a_bid_runs_and_says_what_it_came_to(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    given = ("--out", tmp_path / "out", "--papers", "all")
    status, out, err = run(capsys, "run", bid_file(), *given)
    assert (status, err) == (cli.DONE, "")
    assert "1,200 ft2" in out  # 40 ft x 30 ft; the grid's own scale changes less than 1 ft2
    assert "over the proven bound" in out and "price" in out
    assert f"open {tmp_path / 'out'}/index.html first" in out
    assert out.splitlines()[-1] == f"for the client, prices only: {tmp_path / 'out'}/client"


def test_bare_gis_files_run_with_every_default_stated(lawns, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    status, _, _ = run(capsys, "run", tmp_path / "lawns.gpkg", "--out", tmp_path / "out")
    assert status == cli.DONE
    notes = (tmp_path / "out" / "findings.csv").read_text(encoding="utf-8")
    assert "60 oz/yd^2" in notes and "15 ft" in notes


def test_the_same_bytes_with_one_worker_and_with_two(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30), (90, 0, 17, 60))
    for workers in (1, 2):
        run(capsys, "run", bid_file(), "--out", tmp_path / f"w{workers}", "--workers", workers)
    for name in ("areas.csv", "pieces.csv", "rolls.csv", "bid.csv"):
        assert (tmp_path / "w1" / name).read_bytes() == (tmp_path / "w2" / name).read_bytes()


def test_what_is_left_out_is_said_last_and_by_the_exit_status(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    (tmp_path / "broken.geojson").write_text(
        '{"type": "FeatureCollection", "features": [', encoding="utf-8"
    )
    bid = bid_file('[[layers]]\npath = "broken.geojson"\n')
    status, _, err = run(capsys, "run", bid, "--out", tmp_path / "out")
    assert status == cli.LEFT_OUT
    assert "broken.geojson" in err
    assert err.splitlines()[-1].startswith("NOT PRICED: 1 area or file was left out")
    assert json.loads((tmp_path / "out" / "run.json").read_text())["counts"]["not_priced"] == 1
    assert "NOT PRICED" in (tmp_path / "out" / "map.html").read_text(encoding="utf-8").upper()


def test_strict_makes_that_a_refusal(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    (tmp_path / "broken.geojson").write_text("{", encoding="utf-8")
    status, _, err = run(
        capsys,
        "run",
        bid_file('[[layers]]\npath = "broken.geojson"\n'),
        "--out",
        tmp_path / "out",
        "--strict",
    )
    assert status == cli.REFUSED
    assert err.splitlines()[-1] == "Refused; nothing was written."
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("extra", "word"),
    [
        ('colour = "red"\n', "colour"),
        ('product = "medow"\n[products.meadow]\nprice = "2 USD/ft^2"\n', "medow"),
        ('[products.meadow]\nroll_width = "15 lb"\n', "15 lb"),
        ('[layout]\nend_alowance = "3 in"\n', "end_allowance"),
    ],
)
def test_a_faulty_bid_is_refused_in_one_line(lawns, bid_file, tmp_path, capsys, extra, word):
    lawns((0, 0, 40, 30))
    status, out, err = run(capsys, "run", bid_file(extra), "--out", tmp_path / "out")
    assert (status, out) == (cli.REFUSED, "")
    line, last = err.splitlines()
    assert line.startswith("error: bid.toml") and word in line
    assert last == "Refused; nothing was written."
    assert not (tmp_path / "out").exists()


def test_a_file_that_is_not_there_is_refused(tmp_path, capsys):
    status, _, err = run(capsys, "run", tmp_path / "nothing.gpkg", "--out", tmp_path / "out")
    assert status == cli.REFUSED and "nothing.gpkg" in err and "Traceback" not in err


def test_a_fault_of_our_own_is_one_line_too(lawns, bid_file, tmp_path, capsys, monkeypatch):
    from geoturf import pipeline

    lawns((0, 0, 40, 30))
    monkeypatch.setattr(pipeline, "run", lambda *_: [][1])
    status, _, err = run(capsys, "run", bid_file(), "--out", tmp_path / "out")
    assert status == cli.REFUSED and "Traceback" not in err
    assert err.startswith("error: IndexError: list index out of range; this is a fault of geoturf")


class Closed(io.StringIO):
    """Standard output that can't be written."""

    def __init__(self, number):
        super().__init__()
        self.number = number

    def write(self, text):
        raise OSError(self.number, {32: "Broken pipe", 28: "No space left on device"}[self.number])


@pytest.mark.parametrize("number", [32, 28], ids=["closed", "full"])
def test_a_summary_that_cannot_be_printed_is_told_with_the_report_in_place(
    lawns, bid_file, tmp_path, capsys, monkeypatch, number
):
    lawns((0, 0, 40, 30))
    monkeypatch.setattr(sys, "stdout", Closed(number))
    status, _, err = run(capsys, "run", bid_file(), "--out", tmp_path / "out")
    assert status == cli.UNPRINTED
    (line,) = err.splitlines()
    assert (
        line.startswith("error: standard output cannot be written")
        and f"the report is whole in {tmp_path / 'out'}" in line
    )
    assert (tmp_path / "out" / "run.json").exists()


def test_what_was_left_out_is_said_though_the_summary_cannot_be_printed(
    lawns, bid_file, tmp_path, capsys, monkeypatch
):
    lawns((0, 0, 40, 30))
    (tmp_path / "broken.geojson").write_text("{", encoding="utf-8")
    monkeypatch.setattr(sys, "stdout", Closed(32))
    bid = bid_file('[[layers]]\npath = "broken.geojson"\n')
    assert "NOT PRICED" in run(capsys, "run", bid, "--out", tmp_path / "out")[2]


@pytest.mark.parametrize("lines", ["rules", "--version"])
def test_a_pipe_that_is_closed_early_is_not_done(lines):
    """As `geoturf rules | head` does: the reader goes before all is written."""
    code = (
        "import sys; from geoturf import cli; sys.stdin.readline(); "
        "sys.exit(cli.main(sys.argv[1:]))"
    )
    pipe = subprocess.PIPE
    with subprocess.Popen(
        [sys.executable, "-c", code, lines], stdin=pipe, stdout=pipe, stderr=pipe, text=True
    ) as process:
        process.stdout.close()
        process.stdin.write("go\n")
        process.stdin.close()
        err = process.stderr.read()
    assert process.returncode == cli.UNPRINTED
    assert err == "error: standard output cannot be written (Broken pipe); not all was printed\n"


def test_a_pipe_that_breaks_within_the_work_is_no_closed_terminal(
    lawns, bid_file, tmp_path, capsys, monkeypatch
):
    from geoturf import pipeline

    lawns((0, 0, 40, 30))
    monkeypatch.setattr(
        pipeline, "run", lambda *_: (_ for _ in ()).throw(BrokenPipeError(32, "Broken pipe"))
    )
    status, _, err = run(capsys, "run", bid_file(), "--out", tmp_path / "out")
    assert status == cli.REFUSED and err.splitlines()[-1] == "Stopped; nothing was written."


def test_a_run_whose_workers_cannot_start_writes_its_report(
    lawns, bid_file, tmp_path, capsys, monkeypatch
):
    from geoturf import kernels

    lawns((0, 0, 40, 30))
    monkeypatch.setattr(kernels, "_MANY", 1)
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    status, _, err = run(capsys, "run", bid_file(), "--out", tmp_path / "out", "--workers", 2)
    assert status == cli.DONE and (tmp_path / "out" / "run.json").exists()
    (line,) = err.splitlines()
    assert line.startswith("warning: a worker cannot be started") and "without workers" in line


@pytest.mark.parametrize("out", [".", "/", "x" * 300])
def test_a_place_that_cannot_be_written_is_told_before_the_work(
    lawns, bid_file, tmp_path, capsys, monkeypatch, out
):
    from geoturf import pipeline

    lawns((0, 0, 40, 30))
    bid = bid_file()
    monkeypatch.setattr(pipeline, "run", None)  # not called
    monkeypatch.chdir(tmp_path)
    status, _, err = run(capsys, "run", bid, "--out", out)
    assert status == cli.REFUSED and "fault of geoturf" not in err
    assert err.startswith(f"error: {out}: ") and err.splitlines()[1:] == [
        "Refused; nothing was written."
    ]


def test_too_low_a_limit_of_memory_is_told_at_once(tmp_path):
    """800 MB of addresses (`ulimit -v 800000`), under which libraries wait for ever."""
    low = lambda: resource.setrlimit(resource.RLIMIT_AS, (800_000_000,) * 2)  # noqa: E731
    command = [sys.executable, "-m", "geoturf", "run", "lawns.gpkg"]
    told = subprocess.run(command, preexec_fn=low, capture_output=True, text=True, timeout=60)
    assert told.returncode == cli.REFUSED
    assert told.stderr.splitlines()[0].startswith(
        "error: not enough memory (its limit, ulimit -v, is 800 MB"
    )
    assert told.stderr.splitlines()[1:] == ["Stopped; nothing was written."]


def test_check_reads_only(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30), (20, 0, 40, 30))
    status, out, _ = run(capsys, "check", bid_file())
    assert status == cli.DONE
    assert "600" in out and "overlap" in out  # 20 ft x 30 ft would be paid twice
    assert {path.name for path in tmp_path.iterdir()} == {"lawns.gpkg", "bid.toml"}


def test_a_draft_can_be_run_as_it_is(lawns, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    assert (
        run(capsys, "draft", tmp_path / "lawns.gpkg", "-o", tmp_path / "draft.toml")[0] == cli.DONE
    )
    assert run(capsys, "run", tmp_path / "draft.toml", "--out", tmp_path / "out")[0] == cli.DONE


def test_rules_tell_default_range_and_source(capsys):
    status, out, _ = run(capsys, "rules", "field_spacing")
    assert status == cli.DONE
    assert (
        "field_spacing = " in out
        and "18 in" in out
        and "12 in" in out
        and "24 in" in out
        and "common practice" in out
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["zzz"], "no rule holds 'zzz'; all rules: geoturf rules"),
        (["seem"], "no rule holds 'seem'; near: seed, seam"),
        (["field_spacing", "feild"], "no rule holds 'feild'; near: field"),
        (
            ["seam", "drainage", "profile"],
            "no rule holds all of 'seam' and 'drainage' and 'profile'; ask for fewer words",
        ),
    ],
)
def test_words_that_no_rule_holds_are_named_with_those_near_them(capsys, words, said):
    assert run(capsys, "rules", *words) == (cli.USAGE, "", said + "\n")


# ESC, BEL, an override of direction, the one-byte CSI, CR, an isolate
HARM = "\x1b[31mred\x07\u202e \x9b2J\r\u2066"
ACTED_ON = re.compile(
    r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("\x1b[2J", "\\u001b[2J"),
        ("\x07", "\\u0007"),
        ("a\rb", "a\\u000db"),
        ("\x9b", "\\u009b"),
        ("\u202egnp.exe", "\\u202egnp.exe"),
        ("\ud800", "\\ud800"),
        ("\U000e0041", "\\U000e0041"),  # a tag character: shown as nothing
        ("Café, \u05d0\u05d1, 1\u00a0ft²\n\tx", "Café, \u05d0\u05d1, 1\u00a0ft²\n\tx"),
        (
            "\u0645\u06cc\u200c\u062e",
            "\u0645\u06cc\u200c\u062e",
        ),  # a joiner that Persian is written with
    ],
)
def test_what_a_terminal_would_act_on_is_written_out(text, said):
    assert cli.safe(text) == said


@given(st.text(st.characters(exclude_categories=())))
def test_no_text_keeps_what_a_terminal_would_act_on(text):
    assert not ACTED_ON.search(cli.safe(text))
    cli.safe(text).encode("utf-8")


def test_everything_said_goes_through_one_door():
    """One call of print, in the function that makes text safe; rich gets safe text in its table's
    cells."""
    sources = [path.read_text(encoding="utf-8") for path in Path(cli.__file__).parent.glob("*.py")]
    calls = [n for one in sources for n in ast.walk(ast.parse(one)) if isinstance(n, ast.Call)]
    assert [ast.unparse(c) for c in calls if ast.unparse(c.func) == "print"] == [
        "print(safe(text), file=stream)"
    ]
    cells = [ast.unparse(c) for c in calls if ast.unparse(c.func).endswith(".add_row")]
    assert cells == ["table.add_row(safe(word), safe(value))"]


def test_names_that_mean_harm_reach_no_terminal(lawns, bid_file, tmp_path, capsys):
    """In the name of a site, of a file, of a bid, of a folder and of an argument."""
    lawns((0, 0, 40, 30), (20, 0, 40, 30), site=[HARM, "B" + HARM])
    (tmp_path / f"broken{HARM}.geojson").write_text("{", encoding="utf-8")
    path = bid_file(f"[[layers]]\npath = {json.dumps(f'broken{HARM}.geojson')}\n")
    path.write_text(
        path.read_text().replace('"Two lawns"', json.dumps(f"Two lawns{HARM}")), encoding="utf-8"
    )
    (tmp_path / f"key{HARM}.toml").write_text(f"{json.dumps(HARM)} = 1\n", encoding="utf-8")
    told = [
        run(capsys, "check", path),
        run(capsys, "run", path, "--out", tmp_path / "out\x1b[31mred\u202e"),
        run(capsys, "run", tmp_path / f"key{HARM}.toml"),
        run(capsys, "run", path, "--\x1b[31mred\u202e"),
        run(capsys, "rules", HARM),
    ]
    assert [status for status, _, _ in told] == [
        cli.LEFT_OUT,
        cli.LEFT_OUT,
        cli.REFUSED,
        cli.USAGE,
        cli.USAGE,
    ]
    for _, out, err in told:
        assert "u001b[31mred" in out + err
        assert not ACTED_ON.search(out + err)


@pytest.mark.parametrize(
    "arguments",
    [["fly"], ["run"], ["run", "x.gpkg", "--workers", "no"], ["run", "x.gpkg", "--nonsense"]],
)
def test_wrong_usage_is_exit_two(capsys, arguments):
    assert run(capsys, *arguments)[0] == cli.USAGE


def test_bare_call_shows_the_help(capsys):
    status, out, _ = run(capsys)
    assert status == cli.USAGE and "geoturf run sample_gis/development.toml" in out


def test_lots_whose_names_were_lost_are_not_lost_in_silence(tmp_path, capsys):
    """The demo with the last 2,000 bytes of turf.dbf gone, as an interrupted copy leaves it: 240
    areas are drawn."""
    shutil.copytree(SAMPLE, tmp_path / "sample")
    table = tmp_path / "sample" / "development" / "turf.dbf"
    table.write_bytes(table.read_bytes()[:-2000])
    status, out, err = run(capsys, "check", tmp_path / "sample" / "development.toml")
    areas = int(out.splitlines()[-1].split(" ")[0])
    assert (status, areas < 240) == (cli.LEFT_OUT, True)
    assert f"NOT PRICED: {240 - areas} areas were left out" in err
    assert "turf.dbf" not in out and "its .dbf is cut short" in out


def test_a_feature_without_geometry_ends_in_three_and_strict_names_it(
    lawns, bid_file, tmp_path, capsys
):
    table = geopandas.read_file(lawns((0, 0, 40, 30), (90, 0, 40, 30), site=["A", "B"]))
    table.loc[1, "geometry"] = None
    table.to_file(tmp_path / "lawns.gpkg")
    status, _, err = run(capsys, "check", bid_file())
    assert status == cli.LEFT_OUT and "NOT PRICED: 1 area" in err
    status, _, err = run(capsys, "run", bid_file(), "--strict", "--out", tmp_path / "out")
    assert status == cli.REFUSED and "site B" in err and "feature 2" in err


def test_a_refusal_of_very_many_is_no_flood(lawns, bid_file, tmp_path, capsys):
    """150 bow ties, of which nothing is left."""
    lawns(*((90 * k, 0, 40, 30) for k in range(150)))
    table = geopandas.read_file(tmp_path / "lawns.gpkg")
    x, y = table.bounds["minx"], table.bounds["miny"]
    table.geometry = [
        Polygon([(a, b), (a + 40, b + 30), (a + 40, b), (a, b + 30)])
        for a, b in zip(x, y, strict=True)
    ]
    table.to_file(tmp_path / "lawns.gpkg")
    status, _, err = run(capsys, "check", bid_file())
    *first, more, last = [line for line in err.splitlines() if line.startswith("error: ")]
    assert status == cli.REFUSED and len(first) == 99 and "feature 99," in first[-1]
    assert more == "error: and 51 more; mend these first"
    assert last.startswith("error: nothing is left to price")


def test_check_shows_some_of_many_findings(lawns, bid_file, tmp_path, capsys):
    lawns(*((90 * k, 0, 40, 30) for k in range(30)), slope_pct=["steep"] * 30)
    _, out, _ = run(capsys, "check", bid_file())
    lines = [line for line in out.splitlines() if line.startswith("warning")]
    assert (
        len(lines) == 13
        and lines[-1] == "warning: and 18 more; all stand in the findings.csv of a run"
    )
    assert "30 warnings" in out.splitlines()[-1]


def test_a_report_inside_the_folder_of_input_is_not_run_again(lawns, tmp_path, capsys):
    (tmp_path / "sent").mkdir()
    lawns((0, 0, 40, 30)).rename(tmp_path / "sent" / "lawns.gpkg")
    for _ in range(2):
        status, out, _ = run(capsys, "run", tmp_path / "sent", "--out", tmp_path / "sent" / "out")
        assert (status, "1,200 ft2" in out) == (cli.DONE, True)
    assert "own-report" in (tmp_path / "sent" / "out" / "findings.csv").read_text(encoding="utf-8")


def test_a_draft_tells_on_the_terminal_what_it_does_not_use(lawns, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    lawns((0, 0, 40, 30), name="export.gpkg")
    files = tmp_path / "lawns.gpkg", tmp_path / "export.gpkg"
    _, _, err = run(capsys, "draft", *files, "-o", tmp_path / "bid.toml")
    assert err == "warning: layers that are not used: 1; see NOT USED in the draft for why\n"


def test_what_is_not_priced_of_bare_files_is_said_on_the_terminal(lawns, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    lawns((0, 0, 40, 30), name="export.gpkg")
    _, out, err = run(
        capsys, "run", tmp_path / "lawns.gpkg", tmp_path / "export.gpkg", "--out", tmp_path / "out"
    )
    assert "1,200 ft2" in out
    assert "export.gpkg" in err and 'role = "turf"' in err
