"""Two reports told apart: what came, went and changed shape, which figures moved and why, to the
cent."""

import csv
import json
import shutil
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import pytest

import geoturf
from geoturf import revision, tables
from geoturf.cli import DONE, REFUSED, main
from geoturf.revision import money
from geoturf.revision.causes import Causes

LOTS = {"site": ["A", "B", "C"], "area": ["back"] * 3, "phase": ["1", "1", "2"]}
GROUND = [(0, 0, 40, 30), (100, 0, 20, 14), (200, 0, 50, 33)]


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Folders of reports by what they are of: each is run once."""
    return tmp_path_factory.mktemp("reports"), {}


@pytest.fixture
def report(kept, lawns, bid_file):
    """The tables of a run of rectangles under a bid with extra TOML, in a folder to read from."""
    top, made = kept

    def write(ground=GROUND, extra="", lots=LOTS):
        key = repr((ground, extra, lots))
        if key not in made:
            lawns(*ground, **lots)
            result = geoturf.run(geoturf.read_bid(bid_file(extra)))
            made[key] = top / f"report{len(made)}"
            made[key].mkdir()
            tables.write(result, made[key])
            tables.write_run(result, made[key])
        return made[key]

    return write


@pytest.fixture
def rows(tmp_path):
    """changes.csv of two reports, read as a spreadsheet would."""
    return lambda old, new: read_rows(old, new, tmp_path / "out")


def read_rows(old: Path, new: Path, out: Path) -> list[dict[str, str]]:
    assert main(["compare", str(old), str(new), "--out", str(out), "--quiet"]) == DONE
    with (out / "changes.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def of(found, kind, *columns):
    return [tuple(row[name] for name in columns) for row in found if row["kind"] == kind]


def added_up(found, kind) -> Decimal:
    return sum((Decimal(row["difference"]) for row in found if row["kind"] == kind), Decimal(0))


def price(folder: Path) -> Decimal:
    return Decimal(json.loads((folder / "run.json").read_text("utf-8"))["totals"]["price"])


def test_a_report_against_itself_moves_nothing(report, rows):
    same = report()
    assert [row["kind"] for row in rows(same, same)] == ["price"]


def test_lots_that_come_go_and_change_shape_are_told_in_square_feet(report, rows):
    old = report()
    wider = [(-2, 0, 42, 28), (300, 0, 10, 10), (200, 0, 50, 33)]  # 2 ft west, 2 ft less north
    new = report(wider, lots=LOTS | {"site": ["A", "D", "C"]})
    found = rows(old, new)
    whole = [(kind, row) for kind in ("site", "area") for row in of(found, kind, "site", "why")]
    assert [(kind, *row) for kind, row in whole if row[1] in ("added", "removed")] == [
        ("site", "B", "removed"),
        ("site", "D", "added"),
        ("area", "B", "removed"),
        ("area", "D", "added"),
    ]
    (shape,) = (why for site, why in of(found, "area", "site", "why") if site == "A")
    gained, lost = (float(word.split()[1]) for word in shape.removeprefix("shape: ").split(", "))
    # grid and ground differ by scale and height, by less than 1 in 1,000 there
    assert gained == pytest.approx(2 * 28, rel=1e-3) and lost == pytest.approx(40 * 2, rel=1e-3)
    (difference,) = (float(d) for site, d in of(found, "area", "site", "difference") if site == "A")
    assert difference == pytest.approx(gained - lost, abs=0.02)


def test_a_lot_under_another_name_is_known_by_its_shape(report, rows):
    new = LOTS | {"site": ["A", "B2", "C"]}
    found = rows(report(), report(lots=new))
    (told,) = of(found, "area", "site", "why", "difference")
    assert told == ("B2", "the same ground was B back", "0.00")


def test_names_that_changed_places_are_followed_by_shape(report, rows):
    """An id that names other ground now is not the same area."""
    found = rows(report(), report(lots=LOTS | {"site": ["B", "A", "C"]}))
    assert of(found, "area", "site", "why") == [
        ("B", "the same ground was A back"),
        ("A", "the same ground was B back"),
    ]


CHANGES = {
    "ground": ([(0, 0, 44, 30), *GROUND[1:]], "", "ground"),
    "unit cost": (GROUND, '[price.costs]\ninfill = "12.99 USD/bag"', "unit cost"),
    "rule": (GROUND, '[materials]\nbase_depth = "5 in"', "rule"),
    "layout": (GROUND, '[layout]\nend_allowance = "9 in"', "layout"),
    "rate": (GROUND, "[price]\nsales_tax = 0.0813", "rate"),
    "all": (
        [*GROUND[:2], (200, 0, 52, 33)],
        '[price]\nsales_tax = 0.0813\nprofit = 0.12\n[price.costs]\ninfill = "12.99 USD/bag"\n'
        'aggregate = "31 USD/ton"\n[materials]\nbase_depth = "5 in"\nleave_out = ["fabric"]',
        "rule",
    ),
}


@pytest.mark.parametrize("change", CHANGES)
def test_differences_add_up_to_the_cent_and_say_why(report, rows, change):
    ground, extra, why = CHANGES[change]
    old, new = report(), report(ground, extra)
    found = rows(old, new)
    total = price(new) - price(old)
    assert total and {added_up(found, k) for k in ("price", "phase price", "site price")} == {total}
    assert added_up(found, "amount") == total
    causes = {cause for (cause,) in of(found, "amount", "why")}
    assert why in causes and (change == "all" or causes <= {why, "lines"})


def test_each_line_goes_from_its_old_amount_to_its_new_one(report, rows):
    ground, extra, _ = CHANGES["all"]
    old, new = report(), report(ground, extra)
    ends: dict[tuple[str, str], list[Decimal]] = {}
    for phase, line, *step in of(rows(old, new), "amount", "phase", "line", "old", "new"):
        before, after = (Decimal(amount or 0) for amount in step)
        first, last = ends.setdefault((phase, line), [before, before])
        assert last == before  # no gap between one step and the next
        ends[phase, line] = [first, after]
    for (phase, line), amounts in ends.items():
        if phase:  # steps of the build-up stand under titles that hold their rates
            assert amounts == [amount_of(folder, phase, line) for folder in (old, new)]


def test_causes_of_one_line_are_parted_by_the_stated_rule(report, rows):
    """Ground, a rule and a unit cost at once, by hand: bags in proportion to the surface, then the
    bags of the new rule, at the old price; then the new price on them."""
    ground, _, _ = CHANGES["all"]
    extra = "[materials]\ninfill_allowance = '25 %'\n[price.costs]\ninfill = '12.99 USD/bag'\n"
    old, new = report(), report(ground, extra)
    found = of(rows(old, new), "amount", "phase", "line", "old", "new", "why")
    for phase, line, *_ in [one for one in found if one[1].endswith(" Infill") and one[3]]:
        steps = [one for one in found if one[:2] == (phase, line)]
        if not steps[0][2]:
            continue  # of a phase that only the new report has
        (before, after), (small, large) = bags_of(old, new, phase), surfaces_of(old, new, phase)
        by_ground = (before * large / small).quantize(Decimal("0.01"), ROUND_HALF_UP)
        ends = [by_ground * Decimal("11.75"), after * Decimal("11.75"), after * Decimal("12.99")]
        whys = ["ground", "rule", "unit cost"]
        due = [(f"{cents(end)}", why) for end, why in zip(ends, whys, strict=True)]
        due = due if small != large else due[1:]
        assert [one[3:] for one in steps] == due
        assert Decimal(steps[0][2]) == before * Decimal("11.75")


def test_turf_goes_by_the_surface_laid_with_it_and_tape_by_its_seams(report, rows):
    """Ground, product, layout, a rule of the takeoff and a unit cost at once, by hand. The rule
    moves no turf, and stands at no line of it."""
    before = "[products.turf60]\ntitle = 'Turf'\n[products.other]\ntitle = 'Other'\n"
    after = before + (
        "price = '2.22 USD/ft^2'\n[layout]\nend_allowance = '9 in'\n"
        "[materials]\ntape_allowance = '25 %'\ninfill_allowance = '9 %'\n"
    )
    lots = LOTS | {"product": ["turf60", "turf60", "other"], "phase": ["1", "1", "1"]}
    swapped = lots | {"product": ["turf60", "other", "other"]}
    bearing = {"pile_bearing_deg": [0, 0, 0]}
    old = report(extra=before, lots=lots | bearing)
    bearing = {"pile_bearing_deg": [90, 90, 90]}
    ground = [(0, 0, 44, 30), *GROUND[1:]]
    new = report(ground, after, lots=swapped | bearing)
    found = of(rows(old, new), "quantity", "line", "old", "new", "why")
    areas = [_areas_of(folder) for folder in (old, new)]

    def ratio(name, **where):
        sums = [
            sum(Decimal(r[name]) for r in own if all(r[k] == v for k, v in where.items()))
            for own in areas
        ]
        return sums[1] / sums[0]

    for title, product in (("Turf", "turf60"), ("Other", "other")):
        steps = [one[1:] for one in found if one[0].endswith(f" {title}")]
        start = Decimal(steps[0][0])
        by_ground = start * ratio("surface_area_ft2")
        by_product = start * ratio("surface_area_ft2", product=product)
        assert [why for *_, why in steps] == ["ground", "product", "layout"]
        assert [one[1] for one in steps[:2]] == [f"{cents(by_ground)}", f"{cents(by_product)}"]
    tape = [one[1:] for one in found if one[0].endswith(" Seam tape")]
    assert [why for *_, why in tape][-2:] == ["product, layout", "rule"]
    assert Decimal(tape[-2][1]) == cents(Decimal(tape[0][0]) * ratio("seam_ft"))


def test_rules_are_named_at_lines_that_hang_on_them(report, rows, lawns):
    """An allowance of fabric and a rate of digging, on other ground that lies in a file of another
    name: neither moves infill, and the file's name moves nothing. A least order follows its
    lines."""
    before = "[price.least]\nhaul = '4000 USD'\n"
    after = (
        "[price.least]\nhaul = '4000 USD'\n[materials]\nfabric_allowance = '60 "
        "%'\n[materials.rates]\ndig = '3 yd^3/h'\n"
    )
    ground = [(0, 0, 44, 30), *GROUND[1:]]
    old, new = report(extra=before), report(ground, after)
    run = json.loads((new / "run.json").read_text("utf-8"))
    assert run["settings"]["layers"][0]["path"] == "lawns.gpkg"
    run["settings"]["layers"][0]["path"] = "survey_2.gpkg"
    (new / "run.json").write_text(json.dumps(run), encoding="utf-8")
    why = {}
    for line, cause in of(rows(old, new), "amount", "line", "why"):
        if line[:2].isdigit():  # of a section, no step of the build-up
            why.setdefault(line.split(" ", 3)[3], set()).update(cause.split(", "))
    assert why["Infill"] == {"ground"}
    assert "rule" in why["Weed fabric on the base"] and "rule" in why["Dig and load"]
    assert why["Least order of 4000 USD: Haul away"] == {"lines"}
    assert not any("rule" in why[name] for name in why if name.startswith("Synthetic turf"))


def _areas_of(folder: Path) -> list[dict[str, str]]:
    with (folder / "areas.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def cents(amount: Decimal) -> Decimal:
    return amount.quantize(Decimal("0.01"), ROUND_HALF_UP)


def bags_of(old: Path, new: Path, phase: str) -> list[Decimal]:
    counts = []
    for folder in (old, new):
        with (folder / "bid.csv").open(encoding="utf-8", newline="") as file:
            own = [r for r in csv.DictReader(file) if (r["phase"], r["unit"]) == (phase, "bag")]
        counts.append(sum((Decimal(row["quantity"]) for row in own), Decimal(0)))
    return counts


def surfaces_of(old: Path, new: Path, phase: str) -> list[Decimal]:
    sums = []
    for folder in (old, new):
        with (folder / "areas.csv").open(encoding="utf-8", newline="") as file:
            own = [
                Decimal(r["surface_area_ft2"]) for r in csv.DictReader(file) if r["phase"] == phase
            ]
        sums.append(sum(own, Decimal(0)))
    return sums


def amount_of(folder: Path, phase: str, line: str) -> Decimal:
    with (folder / "bid.csv").open(encoding="utf-8", newline="") as file:
        amounts = [
            Decimal(row["amount"])
            for row in csv.DictReader(file)
            if (row["phase"], f"{row['section']} {row['description']}") == (phase, line)
        ]
    return sum(amounts, Decimal(0))


def test_a_unit_cost_alone_moves_its_line_by_quantity_times_difference(report, rows):
    found = rows(report(), report(extra=CHANGES["unit cost"][1]))
    with (Path(report()) / "bid.csv").open(encoding="utf-8", newline="") as file:
        bags = {r["phase"]: int(r["quantity"]) for r in csv.DictReader(file) if r["unit"] == "bag"}
    by_hand = {
        phase: f"{count * (Decimal('12.99') - Decimal('11.75'))}" for phase, count in bags.items()
    }
    moved = of(found, "amount", "phase", "line", "difference")
    assert {phase: d for phase, line, d in moved if line.endswith(" Infill")} == by_hand


@pytest.mark.parametrize("title", ["Weed fabric on the base", "Lay fabric", "Seam tape"])
def test_strips_of_fabric_follow_the_layout(title):
    """Lots whose drawing is another's now: strips of fabric turn with it, whatever the ground."""
    causes = Causes(frozenset({"1"}), frozenset(), frozenset({"2"}), ())
    before = money._Line("31 05 19", "2", title, "94", "h", "148", "13912.00")
    after = before._replace(quantity="95", amount="14060.00")
    moved = list(money._of_line(before, after, False, causes, [], False))
    assert {move.why for move in moved} == {("layout",)}
    assert [move.difference for move in moved] == [1, 148]


def test_a_bid_is_run_first(report, tmp_path, lawns, bid_file, capsys):
    old, new = report(), report(extra=CHANGES["rule"][1])
    lawns(*GROUND, **LOTS)
    bid = bid_file(CHANGES["rule"][1])
    assert main(["compare", str(old), str(bid), "--out", str(tmp_path / "made")]) == DONE
    said = capsys.readouterr().out.split("\n")
    difference = price(new) - price(old)
    assert said[1].endswith(f"USD: {difference:+,} USD") and said[0] == f"{bid} against {old}"
    told = [Decimal(line.split()[-2].replace(",", "")) for line in said if line.startswith("  ")]
    assert sum(told) == difference


def test_the_page_draws_both_outlines_and_runs_nothing(report, rows, tmp_path):
    evil = LOTS | {"site": ["<script>alert(1)</script>", "B", "C"]}
    old = report(lots=evil)
    rows(old, report(CHANGES["ground"][0], lots=evil))
    page = (tmp_path / "out" / "changes.html").read_text("utf-8")
    assert "<script" not in page and "&lt;script&gt;alert(1)" in page
    assert "default-src 'none'" in page and "http" not in page.replace("http-equiv", "")
    assert page.count("<svg") == 1  # one site changed
    assert page.count('class="old"') == page.count('class="new"') == 1


def test_a_comparison_is_replaced_by_another_and_nothing_else_is(report, tmp_path, capsys):
    old = Path(shutil.copytree(report(), tmp_path / "old"))
    asked = ["compare", str(old), str(old), "--quiet", "--out"]
    assert [main([*asked, str(tmp_path / "out")]) for _ in range(2)] == [DONE, DONE]
    assert {path.name for path in (tmp_path / "out").iterdir()} == {"changes.csv", "changes.html"}
    assert main([*asked, str(old)]) == REFUSED
    assert "holds a report, which a comparison does not replace" in capsys.readouterr().err
    assert (old / "bid.csv").exists() and not list(tmp_path.glob(".out*"))


def test_nothing_is_left_where_the_writing_fails(report, tmp_path, monkeypatch):
    old = report()
    monkeypatch.setattr(
        revision.page, "page", lambda *_: (_ for _ in ()).throw(OSError(28, "full"))
    )
    assert main(["compare", str(old), str(old), "--out", str(tmp_path / "out")]) == REFUSED
    assert not list(tmp_path.glob("*out*"))


def _no_table(folder: Path) -> None:
    (folder / "bid.csv").unlink()


def _short_table(folder: Path) -> None:
    text = (folder / "bid.csv").read_text("utf-8")
    (folder / "bid.csv").write_text("\n".join(text.split("\n")[:3]), encoding="utf-8")


def _broken_shapes(folder: Path) -> None:
    (folder / "layout.gpkg").write_bytes(b"no database")


def _broken_run(folder: Path) -> None:
    (folder / "run.json").write_text('{"settings": ', encoding="utf-8")


def _no_run(folder: Path) -> None:
    (folder / "run.json").unlink()


def _other_settings(key: str, value: str) -> object:
    def change(folder: Path) -> None:
        run = json.loads((folder / "run.json").read_text("utf-8"))
        run["settings"][key] = value
        (folder / "run.json").write_text(json.dumps(run), encoding="utf-8")

    return change


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (shutil.rmtree, "holds no report: there is no run.json in it"),
        (_no_run, "holds no report: there is no run.json in it"),
        (_no_table, "its report cannot be read"),
        (_short_table, "do not add up to the price in run.json"),
        (_broken_shapes, "its report cannot be read"),
        (_broken_run, "its report cannot be read"),
        (_other_settings("currency", "EUR"), "its currency is 'EUR', that of"),
        (_other_settings("units", "imperial"), "its report cannot be read"),
    ],
)
def test_what_cannot_be_compared_is_refused_in_one_line(report, tmp_path, capsys, spoil, said):
    old = report()
    new = Path(shutil.copytree(old, tmp_path / "new"))
    spoil(new)
    assert main(["compare", str(old), str(new), "--out", str(tmp_path / "out")]) == REFUSED
    first, last = capsys.readouterr().err.strip().split("\n")
    assert first.startswith("error: ") and "new" in first and said in first
    assert last == "Refused; nothing was written." and not (tmp_path / "out").exists()


def test_reports_in_other_units_are_refused(report, tmp_path, lawns, bid_file, capsys):
    lawns(*GROUND, **LOTS)
    bid = bid_file()
    bid.write_text('units = "metric"\n' + bid.read_text("utf-8"), encoding="utf-8")
    asked = ["compare", str(report()), str(bid), "--out", str(tmp_path / "out")]
    assert main(asked) == REFUSED
    assert f"bid.toml: its units is 'metric', that of {report()} 'us'" in capsys.readouterr().err
