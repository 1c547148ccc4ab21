"""House plans: which lots are one, what each costs, and that they are laid alike."""

import csv
import io
from collections import Counter
from dataclasses import replace
from decimal import Decimal

import geopandas
import numpy as np
import pytest
from shapely.affinity import rotate, scale, translate
from shapely.geometry import Polygon, box

import geoturf
from geoturf import by_plan, tables
from geoturf.check import broken_promises

ASH = Polygon([(0, 0), (41, 0), (41, 23), (18, 23), (18, 37), (0, 37)]) - box(5, 5, 11, 9)
OAK = Polygon([(0, 0), (33, 0), (36, 21), (27, 31), (0, 28)])
LONE = Polygon([(0, 0), (19, 3), (24, 30), (2, 26)])
WIDE = scale(OAK, 1.6, 1.1)
AT = 6_352_000.0, 2_148_000.0  # feet of EPSG:2228, California zone 5
LOTS = [  # lot, model, its lawn where it lies
    ("A1", "Ash", ASH),
    ("A2", "Ash", rotate(ASH, 64)),
    ("A3", "Ash", scale(ASH, -1, 1)),
    ("A4", "", rotate(scale(ASH, 1, -1), 201)),
    ("O1", "", OAK),
    ("O2", "", rotate(OAK, 33)),
    ("O3", "", scale(OAK, -1, 1)),
    ("W1", "Ash", WIDE),
    ("L1", "", LONE),
]
TEXT = """
name = "Two plans"
[[layers]]
path = "lawns.gpkg"
"""


def made(home, lots, more=""):
    """A result of lots, each drawn to a hundredth of a foot."""
    home.mkdir(exist_ok=True)
    shapes = [translate(shape, AT[0] + 90 * k, AT[1]) for k, (_, _, shape) in enumerate(lots)]
    geopandas.GeoDataFrame(
        {"site": [lot for lot, _, _ in lots], "model": [model for _, model, _ in lots]},
        geometry=geopandas.GeoSeries(shapes).set_precision(0.01),
        crs="EPSG:2228",
    ).to_file(home / "lawns.gpkg", engine="pyogrio")
    (home / "bid.toml").write_text(TEXT + more, encoding="utf-8")
    return geoturf.run(geoturf.read_bid(home / "bid.toml"))


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    home = tmp_path_factory.mktemp("plans")
    result = made(home, LOTS)
    geoturf.write(result, home / "out")
    return result, home / "out"


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def text_of(pdf: bytes) -> str:
    pypdf = pytest.importorskip("pypdf")
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def plans_of(result):
    land = result.ground.areas
    return dict(zip(land["site"], land["plan"], strict=True))


def sizes_of(result):
    """Length and width to cut of the pieces of each lot."""
    pieces, site = result.plan.pieces, result.ground.areas["site"].to_numpy()
    sizes = {name: Counter() for name in site}
    for k, *size in pieces[["area_index", "length_m", "width_m"]].itertuples(index=False):
        sizes[site[int(k)]][tuple(np.round(size, 4))] += 1
    return sizes


def findings(result, code):
    return [one for one in result.findings if one.code == code]


def test_lots_are_of_a_plan_by_model_or_by_shape(report):
    """A4 names no model but is Ash turned over; O1 to O3 name none and are alike; L1 is like no
    other."""
    ash, oak = (
        dict.fromkeys(("A1", "A2", "A3", "A4"), "Ash"),
        dict.fromkeys(("O1", "O2", "O3"), "plan 1"),
    )
    assert plans_of(report[0]) == ash | oak | {"W1": "Ash, size 2", "L1": ""}


def test_lots_of_a_plan_are_cut_in_the_same_pieces(report):
    sizes = sizes_of(report[0])
    assert all(sizes[lot] == sizes["A1"] for lot in ("A2", "A3", "A4"))
    assert all(sizes[lot] == sizes["O1"] for lot in ("O2", "O3"))
    assert sizes["O1"] != sizes["A1"]


def test_a_mirrored_lot_has_the_mirrored_pile(report):
    """x turned over takes a compass bearing to its negative; half a turn more is another pile. Grid
    north lies under half a degree off true north here, which a mirror doubles."""
    result = report[0]
    bearing = dict(
        zip(result.ground.areas["site"], result.plan.chosen["pile_bearing_deg"], strict=True)
    )
    assert (bearing["A1"] + bearing["A3"] + 180) % 360 - 180 == pytest.approx(0, abs=1)
    assert (bearing["A1"] - bearing["A2"] - 64 + 180) % 360 - 180 == pytest.approx(0, abs=0.1)


def test_laying_alike_is_told_and_free_by_a_rule(report, tmp_path):
    (told,) = findings(report[0], "laid-alike")
    assert "7 areas, of 2 shapes" in told.message
    free = made(tmp_path, LOTS, '[layout]\nalike = "free"\n')
    assert not findings(free, "laid-alike")
    assert plans_of(free) == plans_of(report[0])  # a plan is one however it is laid
    more = report[0].plan.pools["bought_m2"].sum() / free.plan.pools["bought_m2"].sum()
    assert more < 1.05


def test_an_alternate_prices_lots_laid_each_by_itself(tmp_path):
    """Beside the bid run so, to the cent."""
    alternate = '[[price.alternates]]\ntitle = "free"\nchange = { layout = { alike = "free" } }\n'
    both = made(tmp_path / "both", LOTS, alternate)
    free = made(tmp_path / "free", LOTS, '[layout]\nalike = "free"\n')
    assert both.price.alternates["price"].tolist() == [free.price.totals["price"]]


def test_the_check_knows_lots_of_a_plan_cut_otherwise(report):
    """A piece of one lot cut longer than that of the others."""
    result = report[0]
    assert broken_promises(result) == ()
    pieces = result.plan.pieces.copy()
    of_a3 = int(np.flatnonzero(result.ground.areas["site"] == "A3")[0])
    first = pieces.index[pieces["area_index"] == of_a3][0]
    pieces.loc[first, "length_m"] += 0.3
    faulty = replace(result, plan=replace(result.plan, pieces=pieces))
    (told,) = (one for one in broken_promises(faulty) if one.code == "not-laid-alike")
    assert "site A3" in told.message and "site A1" in told.message
    free = result.bid.layout.model_copy(update={"alike": "free"})
    allowed = replace(faulty, bid=result.bid.model_copy(update={"layout": free}))
    assert "not-laid-alike" not in {one.code for one in broken_promises(allowed)}


def test_results_by_plan_add_up_to_the_bid(report):
    result, out = report
    rows, sites = rows_of(out / "plans.csv"), rows_of(out / "sites.csv")
    assert [row["plan"] for row in rows] == ["Ash", "Ash, size 2", "plan 1", ""]
    for column in ("lots", "areas", "pieces", "price"):
        of_site = [Decimal(row.get(column, 1)) for row in sites]
        assert sum(Decimal(row[column]) for row in rows) == sum(of_site), column
    assert sum(Decimal(row["price"]) for row in rows) == result.price.totals["price"]
    for row in rows:
        own = [Decimal(site["price"]) for site in sites if site["plan"] == row["plan"]]
        assert Decimal(row["price"]) == sum(own)
        assert abs(Decimal(row["price_each"]) - sum(own) / len(own)) <= Decimal("0.005")
        assert (Decimal(row["price_least"]), Decimal(row["price_most"])) == (min(own), max(own))
    for column in ("ground_area_ft2", "turf_bought_ft2", "seam_ft"):
        of_site = sum(float(row[column]) for row in sites)
        assert sum(float(row[column]) for row in rows) == pytest.approx(of_site, abs=0.06)


def test_figures_by_plan_are_worked_out_once_a_run(report, monkeypatch, tmp_path):
    """Tables, workbook and proposal take them from the result."""
    result, _ = report
    monkeypatch.setattr(by_plan, "by_plan", None)  # not called
    assert list(tables.plans(result)["plan"]) == list(result.by_plan["plan"])
    geoturf.write(result, tmp_path / "again")


def test_a_plan_is_a_scope_of_the_schedule_of_prices(report):
    _, out = report
    paid = Counter()
    for row in rows_of(out / "schedule_of_prices.csv"):
        paid[row["scope"]] += Decimal(row["extension"])
    for row in rows_of(out / "plans.csv"):
        assert paid[f"plan {row['plan'] or 'not given'}"] == Decimal(row["price"])


def test_the_client_reads_the_price_of_each_plan(report):
    _, out = report
    text = text_of((out / "client" / "proposal.pdf").read_bytes())
    told = [row for row in rows_of(out / "client" / "prices.csv") if row["kind"] == "plan"]
    for row, client in zip(rows_of(out / "plans.csv"), told, strict=True):
        assert client["description"] == (row["plan"] or "of no plan")
        assert (client["quantity"], client["unit_price"]) == (row["lots"], row["price_each"])
        assert client["price"] == row["price"]
        assert f"{Decimal(row['price_each']):,}" in text and client["description"] in text


def test_plan_2_comes_before_plan_10(report):
    """Numbers in names count; a name that is one more letter of another comes after it."""
    result = report[0]
    given = ["plan 10", "plan 2", "1a", "1", "plan 1", "", "10"]
    areas = result.ground.areas.copy()
    areas["plan"] = [given[k % len(given)] for k in range(len(areas))]
    told = by_plan.by_plan(replace(result, ground=replace(result.ground, areas=areas)))
    here = [name for name in given if name in set(areas["plan"])]
    order = ["1", "1a", "10", "plan 1", "plan 2", "plan 10", ""]
    assert told["plan"].tolist() == [name for name in order if name in here]
    assert len(here) >= 6


def test_differences_between_lots_of_a_plan_are_listed(tmp_path):
    """One lot of the four has a tree ring more."""
    ringed = ASH - box(30, 8, 33, 11)
    lots = [("A1", "Ash", ASH), ("A2", "Ash", ASH), ("A3", "Ash", ringed), ("A4", "Ash", ASH)]
    result = made(tmp_path, lots)
    assert set(plans_of(result).values()) == {"Ash"}
    geoturf.write(result, tmp_path / "out")
    (row,) = rows_of(tmp_path / "out" / "plans.csv")
    ground = {
        one["site"]: float(one["ground_area_ft2"])
        for one in rows_of(tmp_path / "out" / "sites.csv")
    }
    usual, other = f"{ground['A1']:,.0f} ft2", f"{ground['A3']:,.0f} ft2"
    assert f"lawns {other} on A3 (else {usual})" in row["differences"]


def test_a_model_on_lots_of_clearly_different_size_is_one_clear_line(report):
    (told,) = findings(report[0], "plan-sizes")
    assert "model 'Ash'" in told.message and "(Ash, size 2)" in told.message
    assert "plan_size" in told.message and "\n" not in told.message


def test_a_lot_of_several_models_is_told(tmp_path):
    lots = [("B1", "Ash", ASH), ("B1", "Oak", OAK), ("B2", "Ash", ASH)]
    (told,) = findings(made(tmp_path, lots), "several-models")
    assert told.site == "B1" and "Ash, Oak" in told.message


def test_a_bid_without_plans_has_no_table_of_them(tmp_path):
    result = made(tmp_path, [("L1", "", LONE), ("O1", "", OAK)])
    geoturf.write(result, tmp_path / "out")
    assert not (tmp_path / "out" / "plans.csv").exists()
    assert "plan" not in rows_of(tmp_path / "out" / "sites.csv")[0]


def test_a_plans_name_that_is_taken_is_not_given_again(tmp_path):
    lots = [("P1", "plan 1", ASH), ("O1", "", OAK), ("O2", "", OAK)]
    assert plans_of(made(tmp_path, lots)) == {"P1": "plan 1", "O1": "plan 2", "O2": "plan 2"}


def test_what_is_measured_stays_as_each_lot_is_drawn(report):
    """Laid as the first is drawn, measured as each is: areas by the shoelace of the file's feet,
    grid to ground by at most a part in 5,000."""
    land = report[0].ground.areas
    for row, (_, _, shape) in enumerate(LOTS):
        ground_ft2 = land["ground_area_m2"].iloc[row] / 0.3048**2
        assert ground_ft2 == pytest.approx(shape.area, rel=1e-3)
    twins = land[land["plan"] == "plan 1"]
    assert (
        twins["ground_area_m2"].nunique() == 3
        and twins["laid"].map(lambda s: round(s.area, 4)).nunique() == 1
    )
