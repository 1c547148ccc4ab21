"""An item of the takeoff is one record: added by the book it is bought, worked on, warned of and
priced; halved it is refused."""

import csv
import json
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import pytest

from geoturf.rules import MaterialRules
from geoturf.rules import items as module
from geoturf.rules.item import Item, registry
from geoturf.rules.items import ITEMS, PAY_ITEMS

# Invented: rolls of 300 ft2 at 90 USD, 5 % over net, on all of the base, laid by those who lay the
# fabric.
MAT = """
    Item(
        kind="material", rate="", key="mat", pay="base", section="31 05 19", title="Drainage mat",
        net=lambda q, rules: q["base"], unit="m2", shown=AREA,
        package="roll", size=lambda rules: units.read("300 ft^2", "area"), allowance=lambda rules: 0.05,
        cost="mat", price="90 USD/roll", priced="drainage mat",
        work=("labour_fabric",), held_by=(), goes_with=(), cautions=("drainage",),
        basis="base {base:area}",
    ),
"""

# as many items more as a trade might add, of which nothing is taken
IDLE = "".join(
    MAT.replace('key="mat"', f'key="mat_{k}"').replace('q["base"]', 'q["base"] * 0.0')
    for k in range(60)
)

# geoturf with another text of one module
EDITED = """
import importlib.util, json, sys
class Edited:
    @staticmethod
    def find_spec(name, path, target=None):
        if name == "geoturf.rules.items":
            return importlib.util.spec_from_file_location(name, sys.argv[1])
sys.meta_path.insert(0, Edited)
from geoturf.cli import main
sys.exit(max(main(json.loads(command)) for command in sys.argv[2:]))
"""


def geoturf(text, folder, *commands):
    """Runs geoturf in a process of its own, with ``text`` in place of its items' module, for each
    of some commands."""
    (folder / "items.py").write_text(text, encoding="utf-8")
    strict = ["-W", "error:DataFrame is highly fragmented"]
    command = [
        sys.executable,
        *strict,
        "-c",
        EDITED,
        str(folder / "items.py"),
        *(json.dumps(list(map(str, command))) for command in commands),
    ]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def with_record(record):
    """The items' module with one record more, at the end of the materials."""
    text = Path(module.__file__).read_text(encoding="utf-8")
    assert text.count("\n)\n# fmt: on\n") == 1
    return text.replace("\n)\n# fmt: on\n", f"{record})\n# fmt: on\n")


def rows(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_an_item_added_by_the_book_is_followed_to_its_priced_line(lawns, bid_file, tmp_path):
    """By hand: 1,000 ft2 x 1.05 / 300 = 3.5, so 4 rolls: 360 USD by the record, 320 at the bid's
    own 80 USD a roll. Mat alone takes 1,000 / 1,500 h, so one whole hour; with as much fabric and
    its laps two."""
    lawns((0, 0, 20, 50))
    bids = {
        "360.00": ('[materials]\nleave_out = ["fabric"]\n', "1.00"),
        "320.00": ('[price.costs]\nmat = "80 USD/roll"\n', "2.00"),
    }
    commands = []
    for amount, (extra, _) in bids.items():
        (tmp_path / f"{amount}.toml").write_text(bid_file(extra).read_text())
        commands.append(["run", tmp_path / f"{amount}.toml", "--out", tmp_path / amount])
    done = geoturf(with_record(MAT + IDLE), tmp_path, *commands)
    assert done.returncode == 0, done.stderr
    for amount, (_, hours) in bids.items():
        lines = {line["description"]: line for line in rows(tmp_path / amount / "bid.csv")}
        mat = lines["Drainage mat"]
        assert (mat["section"], mat["quantity"], mat["unit"]) == ("31 05 19", "4", "roll")
        assert mat["amount"] == amount
        assert lines["Lay fabric"]["quantity"] == hours
    items = rows(tmp_path / amount / "materials.csv")
    item = next(row for row in items if row["item"] == "Drainage mat")
    assert float(item["net_quantity"]) == pytest.approx(
        1000, rel=1e-3
    )  # the map's scale, and height above the ellipsoid
    assert "% more makes 3.50 x roll of 300 ft^2, rounded up to 4" in item["basis"]


@pytest.mark.parametrize("field", [field.name for field in fields(Item)])
def test_a_record_that_lacks_anything_is_refused(field):
    """No field has a default: a package's size or a caution that nobody stated is not made up."""
    said = {
        one.name: getattr(ITEMS["fabric"], one.name) for one in fields(Item) if one.name != field
    }
    with pytest.raises(TypeError, match=f"argument: '{field}'"):
        Item(**said)


@pytest.mark.parametrize(
    ("stated", "instead", "said"),
    [
        ('size=lambda rules: units.read("300 ft^2", "area"), ', "", "'size'"),
        ('rate=""', 'rate="mat_m2_per_h"', "rates that are none: mat_m2_per_h"),
    ],
)
def test_such_a_record_stops_geoturf_at_import(tmp_path, stated, instead, said):
    assert stated in MAT
    done = geoturf(with_record(MAT.replace(stated, instead)), tmp_path, ["rules"])
    assert done.returncode != 0
    assert said in done.stderr


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"key": "fabric"}, "'fabric' is there twice"),
        ({"title": ""}, "title and a basis"),
        ({"basis": ""}, "title and a basis"),
        ({"pay": "mats"}, "'mats' is no pay item"),
        ({"unit": "ft"}, "unit is one of m2"),
        ({"shown": ("ft", "m")}, "does not measure what 'm2' does"),
        ({"section": "31 05"}, "not in data/masterformat.csv"),
        ({"work": ("labour_mat",)}, "'labour_mat', which goes with it, is no item"),
        ({"work": ("nails",)}, "'nails' is no task of labour"),
        ({"goes_with": ("pins",)}, "'pins', which goes with it, is no item"),
        ({"held_by": ("pins",)}, "'pins', which goes with it, is no item"),
        ({"cautions": ("bees",)}, "no caution is for 'bees'"),
        ({"cost": ""}, "a unit cost needs a key and words"),
        ({"cost": "tape"}, "unit cost 'tape' with another price"),
        ({"price": "9 USD/box"}, "'9 USD/box' does not fit"),
        ({"kind": "labour"}, "labour needs a production rate"),
    ],
)
def test_a_record_that_is_not_whole_is_refused(changed, said):
    fabric = ITEMS["fabric"]
    mat = replace(fabric, **({"key": "mat", "cost": "mat", "price": "9 USD/roll"} | changed))
    with pytest.raises(ValueError, match="item '") as refusal:
        registry([*ITEMS.values(), mat], PAY_ITEMS.values())
    assert said in str(refusal.value)


def test_a_package_of_nothing_is_refused_whatever_rule_gives_its_size(monkeypatch):
    mat = replace(ITEMS["fabric"], key="mat", size=lambda rules: rules.outlets_per_site)
    monkeypatch.setitem(ITEMS, "mat", mat)
    with pytest.raises(ValueError, match="what mat is bought by must be more than zero"):
        MaterialRules(outlets_per_site=0)
    assert MaterialRules(outlets_per_site=2)
