"""Dye lots: a phase that needs more than one holds is parted by sites and views before it is
laid."""

import pandas as pd
import pytest

import geoturf
from geoturf import cuts, tables
from geoturf.rules import Product
from geoturf.units import FOOT_M

SIX = [(60 * k, 0, 28, 33) for k in range(6)]  # 33 ft cut twice of a 15 ft roll: some 66 ft each


@pytest.fixture
def run(lawns, bid_file):
    def run(product="", view="", extra=""):
        lawns(*SIX, site=[f"S{k}" for k in range(6)], view=view or [""] * 6, area=["1"] * 6)
        return geoturf.run(geoturf.read_bid(bid_file(f"[products.turf60]\n{product}\n{extra}")))

    return run


def lots_of(result) -> dict[str, set[str]]:
    """Sites by their dye lot."""
    areas = result.ground.areas
    return {lot: set(rows["site"]) for lot, rows in areas.groupby("dye_lot")}


def lengths_ft(result) -> pd.Series:
    lots = cuts.of_rolls(result.plan, result.ground)
    return result.plan.rolls.groupby(lots.to_numpy())["length_m"].sum() / FOOT_M


def codes(result) -> list[str]:
    return [one.code for one in result.findings]


def test_a_phase_that_fits_is_left_whole(run):
    plain, roomy = run(), run('dye_lot = "2000 ft"')
    assert "dye_lot" not in roomy.ground.areas
    for name, table in tables.tables(plain).items():
        pd.testing.assert_frame_equal(table, tables.tables(roomy)[name])


def test_a_phase_that_needs_more_is_parted_by_sites(run):
    result = run('dye_lot = "160 ft"')
    assert list(lots_of(result).values()) == [{"S0", "S1"}, {"S2", "S3"}, {"S4", "S5"}]
    assert (lengths_ft(result) <= 160).all() and "dye-lot" not in codes(result)
    assert set(result.plan.pools["pool"]) == {f"1 / dye lot {k} / turf60" for k in (1, 2, 3)}


def test_no_roll_serves_two_lots(run):
    """Reckoned anew from the pieces; `geoturf.check` looks at it in every run."""
    result = run('dye_lot = "160 ft"')
    pieces = result.plan.pieces
    lot = result.ground.areas["dye_lot"].to_numpy()[pieces["area_index"]]
    assert pd.Series(lot).groupby(pieces["roll"].to_numpy()).nunique().max() == 1


def test_what_is_seen_together_comes_from_one_lot(run):
    result = run('dye_lot = "160 ft"', view=["", "square", "", "", "square", ""])
    assert any({"S1", "S4"} <= sites for sites in lots_of(result).values())


def test_a_view_that_fills_more_than_a_lot_is_told(run):
    result = run('dye_lot = "160 ft"', view=["square"] * 4 + [""] * 2)
    assert codes(result).count("dye-lot") == 1
    said = next(one.message for one in result.findings if one.code == "dye-lot")
    assert said.startswith("phase 1, dye lot 1:") and "holds 160.0 ft" in said


def test_too_small_an_order_is_told(run):
    assert "least-order" in codes(run('least_order = "1000 ft"'))
    assert "least-order" not in codes(run('least_order = "100 ft"'))


def test_sites_and_views_that_hang_together_are_one_unit():
    """A site with two views joins both."""
    land = pd.DataFrame({"site": list("aabbc"), "view": ["x", "y", "y", "", "z"]})
    land = land.assign(phase="1", product="t", surface_area_m2=10.0)
    ground = geoturf.model.Ground(land, None, None, None, "")
    turf = {"t": Product(dye_lot="50 ft", roll_width="1 m", roll_lengths="10 m")}
    assert list(cuts.parted(ground, turf).areas["dye_lot"]) == ["dye lot 1"] * 4 + ["dye lot 2"]


def test_a_dye_lot_holds_a_roll_at_least():
    with pytest.raises(ValueError, match="dye_lot must not be less than the longest roll"):
        Product(dye_lot="90 ft")
