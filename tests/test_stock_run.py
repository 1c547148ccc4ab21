"""Left-overs at hand, from end to end: used first, never bought, and their own width kept."""

import geoturf
from geoturf.units import FT2_M2


def test_what_is_at_hand_is_used_first_and_not_ordered(lawns, bid_file):
    lawns((0, 0, 40, 30), (100, 0, 20, 9))
    bare = geoturf.run(geoturf.read_bid(bid_file()))
    stock = '[[cuts.stock]]\nproduct = "turf60"\nwidth = "12 ft"\nlength = "42 ft"\n'
    with_stock = geoturf.run(geoturf.read_bid(bid_file(stock)))
    rolls = with_stock.plan.rolls
    assert (rolls["source"] == "stock").sum() == 1
    bought_m2 = (rolls["width_m"] * rolls["length_m"])[rolls["source"] == "bought"].sum()
    turf = with_stock.takeoff.items.query("key == 'turf' and scope_kind == 'pool'")
    assert (turf["order"] * turf["order_size"]).sum() == bought_m2
    assert bought_m2 < bare.plan.pools["bought_m2"].sum() - 100 * FT2_M2
    kept = with_stock.plan.stock.merge(rolls[["roll", "width_m"]], on="roll", suffixes=("", "_of"))
    assert (kept["across_m"] + kept["width_m"] <= kept["width_m_of"] + 1e-9).all()
