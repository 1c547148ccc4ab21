"""The command line: what it says, what it returns, and that nobody sees a traceback."""

import json

import pytest

from geoturf import cli


def run(capsys, *arguments):
    """Exit status, standard output and standard error of one call."""
    try:
        status = cli.main([str(a) for a in arguments])
    except SystemExit as stop:
        status = stop.code
    out = capsys.readouterr()
    return status, out.out, out.err


def test_a_bid_runs_and_says_what_it_came_to(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    status, out, err = run(capsys, "run", bid_file(), "--out", tmp_path / "out")
    assert (status, err) == (cli.DONE, "")
    assert "1,200 ft2" in out  # 40 ft x 30 ft; the grid's own scale changes less than 1 ft2
    assert "over the proven bound" in out and "price" in out
    assert f"open {tmp_path / 'out'}/map.html" in out
    assert out.splitlines()[-1] == f"for the client, prices only: {tmp_path / 'out'}/client/map.html"


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
    (tmp_path / "broken.geojson").write_text('{"type": "FeatureCollection", "features": [', encoding="utf-8")
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
        capsys, "run", bid_file('[[layers]]\npath = "broken.geojson"\n'), "--out", tmp_path / "out", "--strict"
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


def test_check_reads_only(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30), (20, 0, 40, 30))
    status, out, _ = run(capsys, "check", bid_file())
    assert status == cli.DONE
    assert "600" in out and "overlap" in out  # 20 ft x 30 ft would be paid twice
    assert {path.name for path in tmp_path.iterdir()} == {"lawns.gpkg", "bid.toml"}


def test_a_draft_can_be_run_as_it_is(lawns, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    assert run(capsys, "draft", tmp_path / "lawns.gpkg", "-o", tmp_path / "draft.toml")[0] == cli.DONE
    assert run(capsys, "run", tmp_path / "draft.toml", "--out", tmp_path / "out")[0] == cli.DONE


def test_rules_tell_default_range_and_source(capsys):
    status, out, _ = run(capsys, "rules", "field_spacing")
    assert status == cli.DONE
    assert (
        "field_spacing = " in out and "18 in" in out and "12 in" in out and "24 in" in out and "common practice" in out
    )


@pytest.mark.parametrize(
    "arguments", [["fly"], ["run"], ["run", "x.gpkg", "--workers", "no"], ["run", "x.gpkg", "--nonsense"]]
)
def test_wrong_usage_is_exit_two(capsys, arguments):
    assert run(capsys, *arguments)[0] == cli.USAGE


def test_bare_call_shows_the_help(capsys):
    status, out, _ = run(capsys)
    assert status == cli.USAGE and "geoturf run sample_gis/development.toml" in out
