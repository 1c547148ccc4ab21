"""A starter bid for a layer of city lawns: what grows, how it is watered, whose ward it is, found
by names and by values; and the [water] table filled in."""

import tomllib

import geopandas
import pytest

from geoturf import cli
from geoturf.draft import draft
from geoturf.rules.water.conversion import SHIPPED

ROWS = ((0, 0, 90, 60), (200, 0, 90, 60), (400, 0, 90, 60))
COVERS, WAYS = ["Fescue", "Bermuda", "Kentucky Bluegrass"], ["Pop-up", "Rotor", "drip"]


@pytest.fixture
def drafted(lawns):
    """The text of a draft for three lawns with these columns, and what it says as a bid."""

    def write(**columns):
        text = draft([str(lawns(*ROWS, site=["Park A", "Park B", "Park C"], **columns))])
        return text, tomllib.loads(text)

    return write


def mapped(bid):
    return bid["layers"][0].get("columns", {})


def test_columns_are_known_by_the_names_offices_give_them(drafted):
    nothing = ["q", "r", "s"]  # values that say nothing
    names = {
        "EXIST": nothing,
        "IRR_TYPE": nothing,
        "WARD": ["1", "2", "1"],
        "FUNCTION": nothing,
        "PH": ["1", "2", "2"],
    }
    wanted = {
        "cover": "EXIST",
        "irrigation": "IRR_TYPE",
        "district": "WARD",
        "use": "FUNCTION",
        "phase": "PH",
    }
    assert mapped(drafted(**names)[1]) == wanted


@pytest.mark.parametrize(
    ("values", "ours"), [(["north", "south", "east"], "area"), (COVERS, "cover")]
)
def test_a_column_called_lawn_names_areas_unless_its_values_say_what_grows(
    lawns, tmp_path, values, ours
):
    file = tmp_path / "greens.gpkg"
    geopandas.read_file(lawns(*ROWS, LAWN=values)).drop(columns="area").to_file(file)
    assert mapped(tomllib.loads(draft([str(file)]))) == {ours: "LAWN"}


def test_columns_are_known_by_their_values_where_the_names_say_nothing(drafted):
    names = {
        "C7": COVERS,
        "C8": WAYS,
        "C9": ["Ward 1", "Ward 2", "Ward 2"],
        "C10": ["Sport", "Passive", "play"],
    }
    text, bid = drafted(**names, C11=["Phase 1", "Phase 1", "Phase 2"], C12=["Ann", "Bo", "Cy"])
    wanted = {"cover": "C7", "irrigation": "C8", "district": "C9", "use": "C10", "phase": "C11"}
    assert mapped(bid) == wanted
    assert all(
        "GUESS" in line for line in text.splitlines() if line.split(" = ")[-1].startswith('"C')
    )


def test_a_few_values_that_happen_to_be_known_tell_nothing(drafted):
    """One word of three is a grass."""
    assert "cover" not in mapped(drafted(C7=["Bermuda", "Elm", "Oak"])[1])


def test_the_water_table_is_filled_in_and_marked(drafted):
    text, bid = drafted(EXIST=COVERS, IRR_TYPE=WAYS, WARD=["1", "2", "1"])
    asked = bid["water"]
    assert asked["offer"] == list(SHIPPED) and asked["climate"] == {"place": "nearest"}
    for name, conversion in SHIPPED.items():
        for word in {"capital", "kept_line", "upkeep"} & set(conversion):
            assert asked["conversions"][name][word] == conversion[word]
    money = [
        line
        for line in text.splitlines()
        if " USD" in line and line.split(" ")[0] in ("capital", "kept_line", "upkeep")
    ]
    assert len(money) == 4 and all("ASSUMED" in line for line in money)
    assert "GUESS" in next(line for line in text.splitlines() if line.startswith("place"))


def test_without_such_columns_there_is_no_water_table(drafted):
    assert "water" not in drafted(C12=["Ann", "Bo", "Cy"])[1]


def test_what_no_column_says_is_guessed_and_marked(drafted):
    text, bid = drafted(WARD=["1", "2", "1"])
    assert (bid["water"]["cover"], bid["water"]["irrigation"]) == ("cool_season_lawn", "spray")
    assert sum("GUESS: no column says" in line for line in text.splitlines()) == 2


def test_a_lawn_of_no_kind_is_guessed_and_what_is_not_known_is_asked_for(drafted):
    text, bid = drafted(
        EXIST=["Turf", "Fescue", "Ice plant"], IRR_TYPE=["Bubbler", "Rotor", "Rotor"]
    )
    assert list(bid["water"]["covers"]) == ["Turf"] and "efficiencies" not in bid["water"]
    assert '# [water.covers."Ice plant"]  FILL IN' in text and '# "Bubbler" = 0.75  FILL IN' in text


def test_names_from_the_data_stay_on_their_line(drafted):
    bad = 'Turf"]\nbudget = "1 USD'
    _, bid = drafted(EXIST=[bad, "Fescue", "Bermuda"], IRR_TYPE=["x\n[price]", "Rotor", "Rotor"])
    assert "budget" not in bid["water"] and "price" not in bid


def test_from_a_layer_to_the_answer_by_draft_and_run(lawns, tmp_path, capsys):
    """Nothing is filled in: the lawns lie near a published place, which the planner's page
    names."""
    lawns(
        *ROWS,
        site=["A", "B", "C"],
        EXIST=["Turf", "Bermuda", "Fescue"],
        IRR_TYPE=WAYS,
        WARD=["1", "2", "1"],
    )
    bid = tmp_path / "lawns.toml"
    assert cli.main(["draft", str(tmp_path / "lawns.gpkg"), "-o", str(bid)]) == cli.DONE
    assert cli.main(["run", str(bid), "--out", str(tmp_path / "out")]) == cli.DONE
    told = capsys.readouterr().out
    assert "read through what is marked FILL IN, ASSUMED, GUESS, then: geoturf run" in told
    first = told.index("Assumed: planting capital 5.50 USD/ft^2, irrigation capital 0.90 USD/ft^2")
    assert first < told.index("Water: convert ")
    page = (tmp_path / "out" / "planner.html").read_text(encoding="utf-8")
    assert "Fresno" in page and "the nearest published, at most" in page
