"""The answer leads: the terminal and the workbook begin with it, and what stands behind it is the
turf that is chosen."""

import openpyxl
import pytest

from geoturf import cli

# a shipped conversion named, the turf beside it; 1,200 and 1,600 ft2 of lawn
NAMED = """
[water]
cover = "cool_season_lawn"
budget = "8000 USD"
{more}
[water.climate]
eto = "5 in"
"""


@pytest.fixture
def ran(lawns, bid_file, tmp_path, capsys):
    def run(more):
        lawns((0, 0, 40, 30), (90, 0, 40, 40))
        assert (
            cli.main(
                ["run", str(bid_file(NAMED.format(more=more))), "--out", str(tmp_path / "out")]
            )
            == cli.DONE
        )
        return capsys.readouterr().out.splitlines()

    return run


def test_the_terminal_begins_with_the_answer_and_says_where_it_stands(ran, tmp_path):
    """Planting at 5.50 USD/ft2 fits once within 8,000 USD, on the smaller lawn: 6,600 USD and 1 for
    the grid's scale. It is 1,200 of 2,800 ft2, and takes 0.2 / 0.81 for the lawn's 0.8 / 0.75: 32.9
    % of all use is saved."""
    told = ran('offer = ["planting"]')
    answer = 1
    assert told[0].startswith("Assumed: planting capital 5.50 USD/ft^2, water 5.00 USD/HCF: geo")
    assert told[answer].startswith("Water: convert 1 of 2 areas")
    assert any("chosen nowhere: none is laid or priced" in line for line in told)
    assert not any(line.startswith("price") for line in told)
    assert "6,601 USD of capital of 8,000 USD to spend" in told[answer + 1]
    assert "gal a year, 32.9 % of today's use" in told[answer + 1]
    assert "first 2 years new plants take" in told[answer + 2] and "payback" in told[answer + 3]
    assert told[answer + 4].startswith("Not sure") and "no rain is stated" in told[answer + 4]
    report = next(line for line in told[answer:] if line.startswith("report in"))
    assert f"{tmp_path}/out/planner.html for the answer" in report


def test_assumed_conversions_are_said_first(ran):
    """The bid states none: geoturf's own, with their assumed prices, before any figure of the
    answer."""
    told = ran("")
    first = 0
    assert told[first].startswith("Assumed: the bid states no conversions")
    assert "planting: capital 5.50 USD/ft^2" in told[first] and told[first + 1].startswith(
        "Water: convert"
    )


def test_own_prices_are_not_called_assumed(ran):
    """The bid offers a shipped conversion at a price of its own, and water at one of its own."""
    told = ran(
        'offer = ["planting"]\n[water.price]\nprice = "4.00 USD/HCF"\n'
        '[water.conversions.planting]\ncapital = "6.10 USD/ft^2"'
    )
    assert told[0].startswith("Water: convert")


def test_the_workbook_begins_with_the_answer(ran, tmp_path):
    ran('offer = ["planting"]')
    book = openpyxl.load_workbook(tmp_path / "out" / "bid.xlsx", data_only=True)
    assert book.sheetnames[:2] == ["Water", "Summary"]
    cells = [[cell.value for cell in row] for row in book["Water"].iter_rows()]
    assert cells[0][0].startswith("Assumed: planting capital 5.50 USD/ft^2")
    assert cells[1][:2] == ["convert", "1 of 2 areas, 1,200 ft²"]
    assert cells[-1][:3] == ["A", "1", "Low-water planting on drip"] and cells[-1][
        4
    ] == pytest.approx(6600, rel=2e-4)


def test_a_bid_without_water_ends_as_ever(lawns, bid_file, tmp_path, capsys):
    lawns((0, 0, 40, 30))
    cli.main(["run", str(bid_file()), "--out", str(tmp_path / "out")])
    told = capsys.readouterr().out.splitlines()
    assert any(line.startswith("price  ") for line in told) and not any(
        "planner" in line for line in told
    )
    assert openpyxl.load_workbook(tmp_path / "out" / "bid.xlsx").sheetnames[0] == "Summary"
