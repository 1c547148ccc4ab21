"""A starter bid from GIS files, and bids of bare files with every default stated."""

import os
import shutil
import tomllib
import zipfile
from pathlib import Path
from typing import get_args

import geopandas
import pytest
from open_data import bubenec
from shapely import LineString, MultiPoint, box

from geoturf.bid import make_bid, read_bid
from geoturf.draft import bid_of_files, draft
from geoturf.errors import BidError, InputError
from geoturf.read import read
from geoturf.rules.layer import Role

DATA = Path(__file__).parent / "data"


@pytest.fixture
def lots(tmp_path, monkeypatch):
    """lots.gpkg with columns under other names than geoturf's; the working folder is the file's."""
    columns = {
        "LOT_NO": ["7", "8"],
        "Turf": ["meadow", "paws"],
        "SLOPE": [2.0, 3.5],
        "OWNER": ["x", "y"],
        "PHASE": ["1", "1"],
    }
    table = geopandas.GeoDataFrame(
        columns,
        geometry=[box(-77, 40, -76.9995, 40.0005), box(-76.9, 40, -76.8995, 40.0005)],
        crs=4326,
    )
    table.to_file(tmp_path / "lots.gpkg", engine="pyogrio")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "lots.gpkg"


def test_a_draft_can_be_run_as_it_stands(lots):
    text = draft(["lots.gpkg"], "bid.toml")
    assert lots.with_name("bid.toml").read_text(encoding="utf-8") == text
    source = read(read_bid("bid.toml"))
    table = source.layers[0].table
    assert table["site"].tolist() == ["7", "8"]
    assert table["product"].tolist() == ["meadow", "paws"]
    assert table["slope_pct"].tolist() == [2.0, 3.5]


@pytest.mark.parametrize(
    "paths", [["sent/turf.gpkg", "sent/houses.gpkg"], ["sent"], ["sent/*.gpkg"]]
)
def test_several_files_are_called_as_their_folder(lots, paths):
    sent = lots.with_name("sent")
    sent.mkdir()
    shutil.copy(lots, sent / "turf.gpkg")
    shutil.copy(lots, sent / "houses.gpkg")
    assert 'name = "sent" ' in draft(paths)


def test_guesses_are_marked_and_the_rest_is_told(lots):
    lines = draft(["lots.gpkg"]).splitlines()
    site = next(line for line in lines if line.startswith("site = "))
    assert site.startswith('site = "LOT_NO"')
    assert 'GUESS; such as "7", "8"' in site
    assert "# maps by itself: PHASE (phase)" in lines
    assert "# not used: OWNER" in lines


def test_products_named_late_in_a_file_get_a_table(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shapes = [box(-77 + k * 0.001, 40, -76.9995 + k * 0.001, 40.0005) for k in range(1000)]
    columns = {"product": ["meadow"] * 999 + ["rare turf"]}
    geopandas.GeoDataFrame(columns, geometry=shapes, crs=4326).to_file("lots.fgb", engine="pyogrio")
    products = tomllib.loads(draft(["lots.fgb"]))["products"]
    assert list(products) == [one["title"] for one in products.values()] == ["meadow", "rare turf"]


def test_a_draft_is_never_written_over_a_file(lots):
    lots.with_name("bid.toml").write_text("mine")
    with pytest.raises(BidError, match="is there already"):
        draft(["lots.gpkg"], "bid.toml")
    assert lots.with_name("bid.toml").read_text() == "mine"


def test_paths_are_written_as_seen_from_the_draft(lots, tmp_path):
    (tmp_path / "bids").mkdir()
    draft(["lots.gpkg"], "bids/one.toml")
    assert (
        tomllib.loads((tmp_path / "bids/one.toml").read_text())["layers"][0]["path"]
        == "../lots.gpkg"
    )


def test_every_commented_rule_is_a_line_that_works(lots):
    """Taking off every # of the rules gives a bid equal to the one without them."""
    text = draft(["lots.gpkg"])
    head, rules = text.split("# Every rule below")
    freed = [
        line.removeprefix("# ")
        for line in rules.splitlines()[1:]
        if line.startswith("# ") and " = ..." not in line
    ]
    given = make_bid(tomllib.loads(head))
    assert make_bid(tomllib.loads(head + "\n".join(freed))) == given


def test_names_from_the_data_cannot_break_out_of_their_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    evil = 'a"\n[products.x]\nprice = "0 USD"'
    table = geopandas.GeoDataFrame(
        {"product": [evil], "site": [evil]}, geometry=[box(-77, 40, -76.9995, 40.0005)], crs=4326
    )
    table.to_file(tmp_path / "lots.geojson", engine="pyogrio")
    content = tomllib.loads(draft(["lots.geojson"]))
    assert list(content["products"]) == [evil]


def test_roles_are_guessed_from_names():
    content = tomllib.loads(draft([bubenec()]))
    assert [(x["layer"], x["role"]) for x in content["layers"]] == [
        ("tessellation", "turf"),
        ("buildings", "building"),
        ("streets", "street"),
        ("plots", "turf"),
    ]


def test_files_without_crs_ask_for_it():
    assert '# crs = "EPSG:..."' in draft([str(DATA / "no_prj.shp")])


def test_unreadable_files_are_told_in_the_draft(lots):
    assert "# not read:" in draft(["lots.gpkg", str(DATA / "truncated.gpkg")])
    with pytest.raises(InputError):
        draft([str(DATA / "truncated.gpkg")])
    with pytest.raises(InputError, match="no such file"):
        draft(["lots.gpkg", "nowhere.shp"])


# --------------------------------------------------------------------------------------- bare files


def test_bare_files_run_with_every_default_stated(lots):
    bid, notes = bid_of_files(["lots.gpkg"])
    assert [(x.path, x.role) for x in bid.layers] == [("lots.gpkg", "turf")]
    assert {n.severity for n in notes} == {"note"}
    said = " ".join(n.message for n in notes)
    for default in (
        "each feature a site",
        "areas numbered",
        "phase from its column PHASE",
        "product turf60",
    ):
        assert default in notes[0].message
    for default in (
        'roll_width = "15 ft"',
        'roll_lengths = "100 ft"',
        'sold_by = "length"',
        'bearing = "free"',
        'dig_depth = "4 in"',
    ):
        assert default in said
    assert bid.model_copy(update={"looked": {}}) == make_bid(
        {"name": "lots", "layers": [{"path": "lots.gpkg", "layer": "lots"}]}
    )


def test_bare_context_is_not_priced(lots, tmp_path):
    for name, shape in (
        ("houses", box(-77, 40, -76.9, 40.1)),
        ("streets", LineString([(-77, 40), (-76, 40)])),
        ("lines", LineString([(-77, 40), (-76, 40)])),
    ):
        geopandas.GeoDataFrame(geometry=[shape], crs=4326).to_file(
            tmp_path / f"{name}.gpkg", engine="pyogrio"
        )
    bid, notes = bid_of_files(["lots.gpkg", "houses.gpkg", "streets.gpkg", "lines.gpkg"])
    assert [(x.path, x.role) for x in bid.layers] == [
        ("lots.gpkg", "parcel"),
        ("houses.gpkg", "building"),
        ("streets.gpkg", "street"),
    ]
    assert any("not used" in n.message and n.file == "lines.gpkg" for n in notes)


def test_the_only_file_is_turf_whatever_its_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    geopandas.GeoDataFrame(geometry=[box(-77, 40, -76.9995, 40.0005)], crs=4326).to_file(
        "houses.gpkg", engine="pyogrio"
    )
    assert bid_of_files(["houses.gpkg"])[0].layers[0].role == "turf"


def test_a_bad_file_among_bare_files_is_left_out_by_reading(lots):
    bid, _ = bid_of_files(["lots.gpkg", str(DATA / "truncated.gpkg"), str(DATA / "text.shp")])
    source = read(bid)
    assert source.left_out == 2
    assert [f.code for f in source.findings if f.severity == "error"] == [
        "unreadable",
        "unreadable",
    ]


def test_nothing_to_price_is_refused(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    geopandas.GeoDataFrame(geometry=[LineString([(-77, 40), (-76, 40)])], crs=4326).to_file(
        "lines.gpkg", engine="pyogrio"
    )
    with pytest.raises(InputError, match="no layer of polygons"):
        bid_of_files(["lines.gpkg"])


# ------------------------------------------------------------------- which layers are priced at all


def layer_of(path, **columns):
    """Two squares, or as many as a column has values, as a layer named for its file; its path."""
    n = len(next(iter(columns.values()))) if columns else 2
    shapes = [box(-77 + k * 0.001, 40, -76.9995 + k * 0.001, 40.0005) for k in range(n)]
    geopandas.GeoDataFrame(columns, geometry=shapes, crs=4326).to_file(path, engine="pyogrio")
    return str(path)


def test_a_layer_that_says_nothing_is_not_priced_beside_lawns(tmp_path):
    lawns, other = layer_of(tmp_path / "lawns.gpkg"), layer_of(tmp_path / "export_17.gpkg")
    bid, notes = bid_of_files([lawns, other])
    assert [(x.path, x.role) for x in bid.layers] == [(lawns, "turf")]
    (said,) = (f for f in notes if f.severity == "warning")
    assert said.file == other and 'role = "turf"' in said.message
    content = draft([lawns, other])
    assert [x["path"].split("/")[-1] for x in tomllib.loads(content)["layers"]] == ["lawns.gpkg"]
    assert "# NOT USED: its name and values do not say that it is turf" in content
    head, unused = content.split("# NOT USED")[0], content.split("# NOT USED")[1].split("\n\n")[0]
    freed = "\n".join(line.removeprefix("# ") for line in unused.splitlines()[1:])
    assert [x["role"] for x in tomllib.loads(head + freed)["layers"]] == ["turf", "turf"]


def test_roofs_alone_are_not_priced_in_silence(tmp_path, monkeypatch):
    """Neither as bare files nor in a bid that states no role for them."""
    monkeypatch.chdir(tmp_path)
    roofs = layer_of(tmp_path / "roofs.gpkg")
    bid, notes = bid_of_files([roofs])
    assert bid.layers[0].role == "turf" and [f.file for f in notes if f.severity == "warning"] == [
        roofs
    ]

    def warned(**layer):
        source = read(make_bid({"layers": [{"path": "roofs.gpkg"} | layer]}))
        return [f.message for f in source.findings if f.code == "unsaid-role"]

    (said,) = warned()
    assert "('roofs') says building" in said and "state its role" in said
    assert not warned(role="turf")


def test_layers_that_all_say_nothing_are_priced_with_a_warning(tmp_path):
    paths = [layer_of(tmp_path / f"export_{k}.gpkg") for k in (1, 2)]
    bid, notes = bid_of_files(paths)
    assert [x.role for x in bid.layers] == ["turf", "turf"]
    assert [f.file for f in notes if f.severity == "warning"] == paths
    assert not [f for f in bid_of_files(paths[:1])[1] if f.severity == "warning"]


@pytest.mark.parametrize(
    ("name", "role"),
    [
        *(
            (w, "building")
            for w in (
                "bld_2024",
                "BLDG",
                "site_bldgs",
                "Structures",
                "roofs",
                "footprints",
                "houses",
            )
        ),
        *((w, "paving") for w in ("drives", "Walk", "sidewalks", "hardscape", "paving")),
        *((w, "exclude") for w in ("pools", "garden_walls")),
        *((w, "fence") for w in ("fence", "FENCES")),
        *((w, "planter") for w in ("planters", "FlowerBeds")),
        *((w, "building") for w in ("buildingfootprints", "houseroofs")),
    ],
)
def test_roles_by_name_beside_lawns(tmp_path, name, role):
    bid, _ = bid_of_files([layer_of(tmp_path / "turf.gpkg"), layer_of(tmp_path / f"{name}.gpkg")])
    assert [x.role for x in bid.layers] == ["turf", role]


def lines_of(path, kind=LineString, **columns):
    """Two lines, as a layer named for its file; its path."""
    shapes = [kind([(-77 + k * 0.001, 40), (-76.9995 + k * 0.001, 40)]) for k in range(2)]
    geopandas.GeoDataFrame(columns, geometry=shapes, crs=4326).to_file(path, engine="pyogrio")
    return str(path)


def test_lines_of_fences_and_planters_tell_edges(tmp_path):
    """What they are drawn as is of use to edges alone: lines, not points, and never turf."""
    turf = layer_of(tmp_path / "turf.gpkg")
    fences, edges = lines_of(tmp_path / "fences.gpkg"), lines_of(tmp_path / "planter_edge.gpkg")
    told = lines_of(tmp_path / "cad.gpkg", layer=["C-FENC", "C-FENCE"], type=["fence", "fence"])
    points = lines_of(tmp_path / "planters.gpkg", kind=MultiPoint)
    content = draft([turf, fences, edges, told, points])
    roles = [x["role"] for x in tomllib.loads(content)["layers"]]
    assert roles == ["turf", "fence", "planter", "fence"]
    assert "# NOT USED: it holds MultiPoint" in content
    assert '# an edging along it: "fence" among edging_on of [edges]' in content
    bid, _ = bid_of_files([layer_of(tmp_path / "silent.gpkg"), fences])
    assert [x.role for x in bid.layers] == ["turf", "fence"]


def test_the_guess_of_a_role_names_every_role(lots):
    line = next(one for one in draft(["lots.gpkg"]).splitlines() if one.startswith("role = "))
    assert all(role in line for role in get_args(Role))


def test_roles_by_values(tmp_path):
    """Names that say nothing; the values of a column called type, kind, layer ... do."""
    roofs = layer_of(tmp_path / "a.gpkg", Type=["Roof", "ROOF", "shed"])
    walks = layer_of(tmp_path / "b.gpkg", LAYER=["C-WALK-EDGE", "C-WALK-EDGE"])
    lawns = layer_of(tmp_path / "c.gpkg", kind=["front lawn", "lawn", ""])
    silent = layer_of(tmp_path / "d.gpkg", kind=["x", "y"])
    bid, notes = bid_of_files([roofs, walks, lawns, silent])
    assert [x.role for x in bid.layers] == ["building", "paving", "turf"]
    assert [f.file for f in notes if f.severity == "warning"] == [silent]
    assert any("by its column Type ('Roof')" in f.message for f in notes)


def test_a_product_column_of_its_own_runs_straight_away(tmp_path):
    """A bid file stays strict; bare files have no table of products that a value could be one
    of."""
    path = layer_of(tmp_path / "lawns.shp", PRODUCT=["Type A", "turf60", None])
    source = read(bid_of_files([path])[0])
    assert source.layers[0].table["product"].tolist() == ["turf60"] * 3
    (said,) = (f for f in source.findings if f.code == "assumed-product")
    assert said.severity == "warning"
    assert (
        "column PRODUCT names Type A" in said.message
        and "1 feature priced as turf60" in said.message
    )
    with pytest.raises(InputError, match="product 'Type A' is not one of"):
        read(make_bid({"layers": [{"path": path}]}))


def test_a_file_changed_since_it_was_looked_at_is_refused(tmp_path):
    path = layer_of(tmp_path / "lawns.gpkg")
    bid, _ = bid_of_files([path])
    layer_of(tmp_path / "lawns.gpkg", site=["A", "B", "C"])
    with pytest.raises(InputError, match="was changed while it was read"):
        read(bid)


def test_what_a_folder_or_zip_holds_besides_is_told(tmp_path, monkeypatch):
    """Bare: a subfolder that may not be read, a file of another format, a zip of nothing good; each
    once, and counted."""
    sent = tmp_path / "sent"
    (sent / "secret").mkdir(parents=True)
    layer_of(sent / "lawns.gpkg")
    (sent / "plan.dwg").write_bytes(b"x")
    with zipfile.ZipFile(sent / "more.zip", "w") as archive:
        archive.write(DATA / "text.shp", "text.shp")
    scan = os.scandir

    def refusing(path):
        if str(path).endswith("secret"):
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(os, "scandir", refusing)
    bid, notes = bid_of_files([str(sent)])
    source = read(bid)
    told = [f for f in (*notes, *source.findings) if f.severity != "note"]
    assert [f.file for f in told] == [str(sent), str(sent / "secret"), str(sent / "more.zip")]
    assert source.left_out == 2
    assert sum(len(layer.table) for layer in source.layers) == 2
