"""What a word means, and the samples written out."""

import pytest

from geoturf import sample
from geoturf.bid import read_bid
from geoturf.cli import DONE, REFUSED, USAGE, main
from geoturf.explain import explain


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (
            "waste_pct",
            "column waste_pct (%) of areas, sites, cut_plan\n    Turf bought over the surface area",
        ),
        (
            "GROUND_AREA_M2",
            "column ground_area_ft2 or ground_area_m2 (ft2 or m2) of areas\n    True horizontal "
            "area",
        ),
        ("cut_plan", "file cut_plan.csv\n    One row a pool"),
        ("layout.seam_cost", 'rule [layout] seam_cost = "4.14 USD/ft"'),
    ],
)
def test_a_word_is_told_for_what_it_names(word, said):
    assert any(text.startswith(said) for text in explain(word))


def test_a_word_for_several_things_is_told_for_each():
    assert {text.split()[0] for text in explain("price")} == {"column", "rule"}


def test_an_unknown_word_is_answered_with_those_near_it(capsys):
    assert main(["explain", "wastepct"]) == USAGE
    assert "near it: waste_pct" in capsys.readouterr().err


def test_the_samples_can_be_written_and_read_and_are_not_written_over(tmp_path, capsys):
    assert main(["sample", str(tmp_path / "tried")]) == DONE
    bids = sorted((tmp_path / "tried").glob("*.toml"))
    assert [f"geoturf run {bid}" for bid in bids] == capsys.readouterr().out.split("\n")[:-1]
    assert [len(read_bid(bid).layers) > 0 for bid in bids] == [True] * 4
    (tmp_path / "tried" / "parks.toml").write_text("mine")
    assert main(["sample", str(tmp_path / "tried")]) == REFUSED
    assert (tmp_path / "tried" / "parks.toml").read_text() == "mine"


def test_the_samples_leave_out_what_makes_them(tmp_path):
    sample.write(tmp_path / "tried")
    assert not list((tmp_path / "tried").rglob("*.py"))
