"""What holds where: a region's own allowance, and a tariff without gaps."""

import pytest
from water_cases import parks, water_rules

from geoturf import water
from geoturf.errors import BidError
from geoturf.units import FT2_M2, GALLON_M3

REGION = {
    "law": "regional",
    "name": "Quillhaven valley",
    "source": "invented, read 2026-02-02",
    "etaf": {"non_residential": 0.5, "residential": 0.6},
}


def compare(ground, **rules):
    return water.compare(ground, None, water_rules(**{"offer": ["planting"]} | rules), "USD")


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
