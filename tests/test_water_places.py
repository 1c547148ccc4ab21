"""What holds where: a region's own allowance, and a tariff without gaps."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pyproj import Geod
from water_cases import parks, water_rules

from geoturf import water
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.model import KEPT
from geoturf.units import FT2_M2, GALLON_M3, MILE_M

REGION = {
    "law": "regional",
    "name": "Quillhaven valley",
    "source": "invented, read 2026-02-02",
    "etaf": {"non_residential": 0.5, "residential": 0.6},
}


def compare(ground, **rules):
    climate = {"climate": {}} if "climates" in rules else {}
    given = {"offer": ["planting"]} | climate | rules
    return water.compare(ground, None, water_rules(**given), "USD")


def test_a_regions_allowance_judges_by_its_own_factors():
    """By hand: 51.1 in x 0.62 gal x 0.5 x 1,000 ft2 = 15,841 gal allowed, against the lawn's 51.1 x
    0.62 x factor / efficiency; planting stays under it."""
    found = compare(parks(1_000), ordinance=REGION)
    sites = found.compliance.set_index("plan")
    allowed = sites.loc["existing", "mawa_m3"] / GALLON_M3
    assert allowed == pytest.approx(51.1 * 0.62 * 0.5 * 1_000, rel=1e-6)
    assert not sites.loc["existing", "complies"]
    assert found.summary["law"] == "regional"
    assert "Quillhaven valley" in found.summary["law_why"]
    planted = sites.loc["chosen"]
    assert planted["complies"] == (planted["etwu_m3"] <= planted["mawa_m3"])
    assert planted["landscape_m2"] == pytest.approx(1_000 * FT2_M2)
    assert (found.summary["complies_before"], found.summary["complies_after"]) == (0, 1)


@pytest.mark.parametrize("missing", ["name", "source", "etaf"])
def test_no_verdict_by_what_the_bid_does_not_state(missing):
    """California's factors are not taken for another place's."""
    stated = {key: value for key, value in REGION.items() if key != missing}
    with pytest.raises(BidError, match=f'"regional" needs {missing}'):
        water_rules(ordinance=stated)


OWN = """
name = "Quillhaven valley"
source = "invented, read 2026-02-02"
year = 2026
landscape = "meadow"
residential_uses = []
special_uses = ["play"]
special_etaf = 0.9
gallons = 0.623
effective_rain_share = "25 %"
etaf = { meadow = 0.5 }
"""
BORDER = "[border]\nmargin = 0.1\ncorners = [[-106, 39], [-104, 39], [-104, 41], [-106, 41]]\n"


def rules_by_file(folder, text, **more):
    (folder / "valley.toml").write_text(text, encoding="utf-8")
    table = {"climate": {"eto": "4 in", "rain": "1 in"}, "curve_points": 5, "offer": ["planting"]}
    given = table | {"ordinance": "valley.toml"} | more
    content = {"layers": [{"path": "parks.geojson"}], "water": given, "folder": str(folder)}
    return make_bid(content, file="parks.toml").water


def test_an_ordinance_in_a_file_of_ones_own(tmp_path):
    """By hand: ETo 48 in less a quarter of 12 in of rain is 45 in; 45 x 0.623 x (0.5 x 1,500 +
    (0.9 - 0.5) x 500) = 26,633.25 gal allowed; the play lawn's estimate is 45 x 0.623 x 0.9 x 500
    = 12,615.75 gal."""
    ground = parks(1_000, 500, use=["median", "play"], site="Park")
    found = water.compare(ground, None, rules_by_file(tmp_path, OWN), "USD")
    site = found.compliance.set_index("plan").loc["existing"]
    assert site["mawa_m3"] / GALLON_M3 == pytest.approx(26_633.25, rel=1e-12)
    play = found.worksheet.query("plan == 'existing' and special").iloc[0]
    assert play["etwu_m3"] / GALLON_M3 == pytest.approx(12_615.75, rel=1e-12)
    assert found.summary["law_why"].startswith("Quillhaven valley (invented, read 2026-02-02)")


def test_what_the_bid_states_goes_before_its_file(tmp_path):
    asked = {"file": "valley.toml", "etaf": {"meadow": 0.4}}
    rules = rules_by_file(tmp_path, OWN, ordinance=asked).ordinance
    assert (rules.etaf, rules.gallons, rules.file) == ({"meadow": 0.4}, 0.623, "valley.toml")


def test_an_ordinance_judges_only_within_its_border(tmp_path):
    """One site in the middle of it, one nearer its edge than the margin, one far off."""
    ground = parks(1_000, 1_000, 1_000, frame=[0, 1, 2])
    lon, lat = np.array([-105.0, -104.05, -90.0]), np.array([40.0, 40.0, 40.0])
    placed = replace(ground, frames=SimpleNamespace(lon0_deg=lon, lat0_deg=lat))
    found = water.compare(placed, None, rules_by_file(tmp_path, OWN + BORDER), "USD")
    judged = found.compliance.set_index(["plan", "site"]).loc["existing", "complies"].notna()
    assert judged.tolist() == [True, False, False]
    assert found.summary["law"] == "several"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (OWN.replace("name =", "# name ="), r"valley.toml: .*needs name of the place"),
        (OWN.replace("meadow = 0.5", ""), r"valley.toml: .*needs etaf\.meadow"),
        (OWN.replace("gallons", "galons"), r"valley.toml: .*galons.*gallons"),
        (OWN.replace("0.623", "6.23"), r"valley.toml: .*gallons: 144/231 as it is rounded"),
        (OWN.replace("0.9", "1.9"), r"valley.toml: .*special_etaf: a factor over 0"),
        (OWN + "[border]\ncorners = [[1, 2], [1, 2]]\n", "valley.toml: .*three or more"),
        (OWN + 'law = "california"', "valley.toml: .*'law'.*take it out"),
        ("name = ", "valley.toml: is not TOML"),
    ],
)
def test_an_ordinances_file_that_will_not_do_is_told_in_one_line(tmp_path, text, said):
    with pytest.raises(BidError, match=said) as told:
        rules_by_file(tmp_path, text)
    assert len(str(told.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("named", "said"),
    [
        ("vally.toml", "vally.toml: there is no such file beside the bid"),
        ("oregon", "law: 'oregon' is not known; known: california, regional, formula, none"),
        ({"file": "valley.toml", "law": "california"}, 'file goes with law "regional"'),
    ],
)
def test_an_ordinance_that_is_not_known_is_told_in_one_line(tmp_path, named, said):
    with pytest.raises(BidError, match=said) as told:
        rules_by_file(tmp_path, OWN, ordinance=named)
    assert len(str(told.value).splitlines()) == 1


def tiers(*blocks):
    told = [
        {"above": above, "price": f"{6 + k} USD/HCF"} | ({"to": to} if to else {})
        for k, (above, to) in enumerate(blocks)
    ]
    return {"price": {"price": "5 USD/HCF", "tiers": told}}


def test_a_tariff_may_say_where_its_blocks_end():
    """The same bill with and without, in any unit of volume."""
    said = tiers(("10 HCF", "20 HCF"), ("14961.04 gal", ""))
    plain = tiers(("10 HCF", ""), ("20 HCF", ""))
    one, other = (compare(parks(9_000), **rules).table["bill_saved"] for rules in (said, plain))
    assert one.to_numpy() == pytest.approx(other.to_numpy(), rel=1e-6)


@pytest.mark.parametrize(
    ("blocks", "said"),
    [
        (
            [("10 HCF", "20 HCF"), ("25 HCF", "")],
            "tier 1 ends at 20 HCF, the next begins above 25 HCF: between them no price holds",
        ),
        ([("10 HCF", "30 HCF"), ("25 HCF", "")], "two prices hold"),
        ([("10 HCF", ""), ("25 HCF", "40 HCF")], "above that no price holds"),
    ],
)
def test_a_tariff_with_a_gap_is_refused_in_one_line(blocks, said):
    with pytest.raises(BidError, match=said) as refused:
        water_rules(**tiers(*blocks))
    assert len(str(refused.value).strip().splitlines()) == 1


# - a climate for each place -----------------------------------------------------------------------

DRY = {"eto": [f"{n} in" for n in (1, 2, 4, 6, 8, 9, 10, 9, 6, 4, 2, 1)], "station": "dry"}
WET = {
    "eto": [f"{n} in" for n in (0.5, 1, 2, 3, 4, 6, 7, 6, 4, 2, 1, 0.5)],
    "rain": ["2 in"] * 12,
    "station": "wet",
}
COVERS = ["cool_season_lawn", "warm_season_lawn", "cool_season_lawn", "cool_season_lawn"]
MORE = {"offer": ["planting", "irrigation"], "ordinance": "california"}
KEYS = ["baseline_m3", "use_m3", "saved_m3", "capital", "bill_saved", "npv", "chosen"]


OTHER_REGION = REGION | {"etaf": {"non_residential": 0.3, "residential": 0.4}, "constant": "exact"}
DEAR = {"price": "9 USD/HCF", "tiers": [{"above": "0.5 HCF", "price": "12 USD/HCF"}]}
STEEP = {
    "price": "3 USD/HCF",
    "tiers": [{"above": "1 HCF", "price": "4 USD/HCF"}, {"above": "2 HCF", "price": "8 USD/HCF"}],
}


@pytest.mark.parametrize("objective", ["water", "money"])
@pytest.mark.parametrize(
    ("what", "dry", "wet"),
    [("climate", DRY, WET), ("price", DEAR, STEEP), ("ordinance", REGION, OTHER_REGION)],
)
def test_one_bid_of_two_places_is_two_bids(what, dry, wet, objective):
    """Without a budget the places share nothing: rows, ordinance and totals are those of a bid for
    each."""
    state = ["NV", "OR", "NV", "OR"]
    more = {key: rule for key, rule in MORE.items() if key != what} | {"objective": objective}
    more |= {} if what == "climate" else {"climate": DRY}
    both = compare(
        parks(800, 1_300, 1_700, 2_100, cover=COVERS, district=state),
        **{f"{what}s": {"NV": dry, "OR": wet}, f"{what}_by": "district"},
        **more,
    )
    first, second = ["Park 0", "Park 2"], ["Park 1", "Park 3"]
    alone = {
        "NV": compare(parks(800, 1_700, cover=COVERS[0::2], site=first), **{what: dry}, **more),
        "OR": compare(parks(1_300, 2_100, cover=COVERS[1::2], site=second), **{what: wet}, **more),
    }
    for place, one in alone.items():
        rows = both.table[both.table["district"] == place].reset_index(drop=True)
        assert rows[KEYS].equals(one.table[KEYS].reset_index(drop=True))
        sites = both.compliance[both.compliance["site"].isin(one.compliance["site"])]
        judged = zip(sites["complies"], one.compliance["complies"], strict=True)
        assert all(mine == own for mine, own in judged)
        told = ["plan", "site", "mawa_m3", "etwu_m3", "use_m3", "peak_m3", "peak_allowance_m3"]
        assert sites[told].reset_index(drop=True).equals(one.compliance[told])
        sheet = both.worksheet[both.worksheet["site"].isin(one.worksheet["site"])]
        assert sheet.reset_index(drop=True).equals(one.worksheet)
    for word in ("saved_m3", "capital", "bill_saved", "npv"):
        whole = sum(one.summary["chosen"][word] for one in alone.values())
        assert both.summary["chosen"][word] == pytest.approx(whole)
    steps = [one.differences.set_index("plan") for one in [both, *alone.values()]]
    assert steps[0].to_numpy() == pytest.approx((steps[1] + steps[2]).to_numpy(), abs=1e-6)
    months = [one.monthly["saved_m3"] for one in [both, *alone.values()]]
    assert months[0].to_numpy() == pytest.approx((months[1] + months[2]).to_numpy())
    if what == "climate":
        assert both.summary["climate"].startswith("NV: dry")


def test_a_column_that_the_bid_keeps_may_say_which_climate():
    """The same as a district of that name."""
    asked = {"climates": {"NV": DRY, "OR": WET}, **MORE}
    states = ["NV", "OR"]
    kept = compare(parks(900, 800, **{KEPT + "STATE": states}), climate_by="STATE", **asked).table
    by_district = compare(parks(900, 800, district=states), climate_by="district", **asked).table
    assert kept[KEYS].equals(by_district[KEYS])
    assert kept["baseline_m3"].nunique() == 2


@pytest.mark.parametrize(
    ("ground", "rules", "said"),
    [
        ({"district": "ID"}, {}, "none for district 'ID'; it has NV, OR"),
        ({"district": ["NV", "OR"], "site": "Park"}, {}, "under two of water.climates"),
        ({"district": "NV"}, {"climate_by": ""}, "goes with climate_by"),
        ({"district": "NV"}, {"climate_by": "STATE"}, "no area has a column 'STATE'"),
        ({"district": "NV"}, {"climate": DRY}, "climate and climates both"),
        (
            {"district": "NV"},
            {"climates": {"NV": DRY | {"effective_rain": "scs"}}},
            "climates.NV.effective_rain: how rain is counted is one for all",
        ),
        ({"district": "NV"}, {"climates": {"NV": {}}}, "needs one of eto"),
    ],
)
def test_a_place_without_a_climate_is_refused_in_one_line(ground, rules, said):
    asked = {"climates": {"NV": DRY, "OR": WET}, "climate_by": "district"} | rules
    with pytest.raises(BidError, match=said) as refused:
        compare(parks(1_000, 1_000, **ground), **asked)
    assert len(str(refused.value).strip().splitlines()) == 1


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        (
            {"prices": {"NV": DEAR}, "price_by": "district"},
            "water.prices has none for district 'OR'",
        ),
        ({"prices": {"NV": DEAR}}, "prices goes with price_by"),
        ({"prices": {"NV": DEAR}, "price_by": "district", "price": DEAR}, "price and prices both"),
        (
            {"prices": {"NV": DEAR | {"escalation": "2 %"}}, "price_by": "district"},
            "prices.NV.escalation: the yearly rise is one for all",
        ),
        (
            {"ordinances": {"NV": "none"}, "ordinance_by": "district"},
            "water.ordinances has none for district 'OR'",
        ),
        (
            {"ordinances": {"NV": "none"}, "ordinance_by": "district", "ordinance": "none"},
            "ordinance and ordinances both",
        ),
    ],
)
def test_a_site_without_a_price_or_an_ordinance_is_refused_in_one_line(rules, said):
    with pytest.raises(BidError, match=said) as refused:
        compare(parks(1_000, 1_000, district=["NV", "OR"]), **rules)
    assert len(str(refused.value).strip().splitlines()) == 1


# - the published place that lies nearest ----------------------------------------------------------


def lying(*degrees):
    """A park at each longitude and latitude."""
    lon, lat = zip(*degrees, strict=True)
    ground = parks(*[1_000] * len(degrees), frame=list(range(len(degrees))))
    frames = SimpleNamespace(lon0_deg=np.array(lon), lat0_deg=np.array(lat))
    return replace(ground, frames=frames)


def test_the_nearest_published_place_gives_the_climate_of_each_site():
    """Near Fresno and near San Diego: each as if its place were named. How far each is away is what
    pyproj's geodesic says, within the 0.6 % that a sphere is off by."""
    clovis, chula_vista = (-119.70, 36.82), (-117.08, 32.64)
    found = compare(lying(clovis, chula_vista), climate={"place": "nearest"})
    named = [
        compare(parks(1_000), climate={"place": place}).table["baseline_m3"].iloc[0]
        for place in ("Fresno", "San Diego")
    ]
    assert found.table["baseline_m3"].tolist() == pytest.approx(named)
    said = found.summary["climate"]
    for (lon, lat), (lon0, lat0) in ((clovis, (-119.79, 36.74)), (chula_vista, (-117.16, 32.72))):
        miles = Geod(ellps="GRS80").inv(lon, lat, lon0, lat0)[2] / MILE_M
        told = [float(number) for number in re.findall(r"at most ([\d.]+) mi", said)]
        assert min(abs(one / miles - 1) for one in told) < 0.006


def test_no_place_near_is_refused_with_how_far_the_nearest_is():
    with pytest.raises(BidError, match=r"no published place lies near: Fresno is 82.* mi away"):
        compare(lying((-104.99, 39.74)), climate={"place": "nearest"})
