"""Input that means harm, or that others hold: nothing is asked of a network, nothing is written to
the input, nothing outside what was given is read, and no file takes all memory or time."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import socket
import sqlite3
import threading
import time
from pathlib import Path

import geopandas
import pytest
from shapely.geometry import box

from geoturf import audit as auditing
from geoturf.audit import sources
from geoturf.audit.folder import Unreadable
from geoturf.bid import make_bid
from geoturf.errors import InputError
from geoturf.read import read

E, N = 6_352_000.0, 2_148_000.0  # California zone 5, US survey feet
GIB = 1 << 30


def lawns(folder: Path, name: str = "lawns.gpkg") -> Path:
    shapes = [box(E + 60 * k, N, E + 60 * k + 40, N + 30) for k in range(3)]
    table = geopandas.GeoDataFrame(
        {"site": ["A"] * 3, "area": list("123")}, geometry=shapes, crs="EPSG:2228"
    )
    table.to_file(folder / name, engine="pyogrio")
    return folder / name


def read_of(folder: Path, path: str):
    return read(make_bid({"layers": [{"path": path}], "folder": str(folder)}))


def refused(folder: Path, path: str) -> str:
    with pytest.raises(InputError) as refusal:
        read_of(folder, path)
    return str(refusal.value)


# ------------------------------------------------------------------------------ names that are more


@pytest.fixture
def listener():
    """A port of this machine, and what knocks at it."""
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.1)
    heard: list[object] = []
    open_ = threading.Event()

    def listen() -> None:
        while not open_.is_set():
            try:
                caller, _ = server.accept()
            except TimeoutError:
                continue
            heard.append(caller)
            caller.close()

    thread = threading.Thread(target=listen)
    thread.start()
    yield server.getsockname()[1], heard
    open_.set()
    thread.join()
    server.close()


@pytest.mark.parametrize(
    "name",
    [
        "/vsicurl/http://127.0.0.1:{port}/lawns.gpkg",
        "/vsicurl_streaming/http://127.0.0.1:{port}/lawns.geojson",
        "/vsizip//vsicurl/http://127.0.0.1:{port}/lawns.zip",
        "/VSICURL/http://127.0.0.1:{port}/lawns.gpkg",
        "/vsis3/bucket/lawns.gpkg",
        "/vsimem/lawns.gpkg",
        "/vsistdin/lawns.gpkg",
        "/vsisubfile/0_100,lawns.gpkg",
        "http://127.0.0.1:{port}/lawns.geojson",
        "file:///etc/lawns.gpkg",
        "PG:host=127.0.0.1 port={port} dbname=lawns",
        "MySQL:lawns,host=127.0.0.1,port={port}",
        "MSSQL:server=127.0.0.1,{port};database=lawns",
        "MongoDBv3:mongodb://127.0.0.1:{port}/lawns",
        "WFS:http://127.0.0.1:{port}/wfs",
        "OAPIF:http://127.0.0.1:{port}/collections",
        "ES:http://127.0.0.1:{port}",
        "CSW:http://127.0.0.1:{port}/csw",
        "GPKG:lawns.gpkg:lawns",
        "SQLITE:lawns.gpkg",
        "GeoJSON:http://127.0.0.1:{port}/lawns.geojson",
        "ESRIJSON:http://127.0.0.1:{port}/lawns.json",
        "OGR_VRT:lawns.vrt",
        "<OGRVRTDataSource><OGRVRTLayer "
        "name='x'><SrcDataSource>http://127.0.0.1:{port}/</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        '{{"type": "FeatureCollection", "features": []}}',
    ],
)
def test_what_is_no_path_is_refused_by_its_name_and_nobody_is_asked(tmp_path, listener, name):
    port, heard = listener
    lawns(tmp_path)
    said = refused(tmp_path, name.format(port=port))
    assert "only files on this machine are read" in said
    assert not heard


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "kml", "shp", "fgb", "parquet"])
def test_a_virtual_dataset_under_another_name_asks_nobody(tmp_path, listener, ending):
    port, heard = listener
    (tmp_path / f"lawns.{ending}").write_text(
        "<OGRVRTDataSource><OGRVRTLayer name='lawns'><SrcDataSource>"
        f"/vsicurl/http://127.0.0.1:{port}/lawns.geojson</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    )
    refused(tmp_path, f"lawns.{ending}")
    assert not heard


# ------------------------------------------------------------------------------ databases


def digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


TRAPS = """
create table trapped (said text);
create trigger trap after update on lawns begin insert into trapped values ('updated'); end;
create trigger drop_them after insert on gpkg_contents begin delete from lawns; end;
create view readable as select fid, geom, load_extension('evil.so') as site from lawns;
"""


def test_triggers_and_views_of_a_database_do_nothing(tmp_path):
    """Read by the run and by the audit; the file's bytes stay, nothing was set off."""
    path = lawns(tmp_path)
    with sqlite3.connect(path) as base:
        base.executescript(TRAPS)
    base.close()
    before = digest(path)
    assert len(read_of(tmp_path, "lawns.gpkg").layers[0].table) == 3
    assert len(sources.read(path, "", "").feature) == 3
    assert digest(path) == before
    assert sorted(one.name for one in tmp_path.iterdir()) == ["lawns.gpkg"]


def test_a_view_that_calls_for_code_is_no_layer(tmp_path):
    """A view given out for a layer, whose rows would load a library."""
    path = lawns(tmp_path)
    with sqlite3.connect(path) as base:
        base.executescript(TRAPS)
        base.execute(
            "insert into gpkg_contents select 'readable', data_type, 'readable', description, "
            "last_change, min_x, min_y, max_x, max_y, srs_id from gpkg_contents"
        )
        base.execute(
            "insert into gpkg_geometry_columns select 'readable', column_name, geometry_type_name, "
            "srs_id, z, m from gpkg_geometry_columns"
        )
    base.close()
    with pytest.raises(InputError):
        read(
            make_bid(
                {"layers": [{"path": "lawns.gpkg", "layer": "readable"}], "folder": str(tmp_path)}
            )
        )
    with pytest.raises(Unreadable):
        sources.read(path, "readable", "")


def test_a_locked_database_is_told_in_time(tmp_path):
    """Another program holds it: read, or refused in a line, but not waited for without end."""
    path = lawns(tmp_path)
    held = sqlite3.connect(path, isolation_level=None)
    held.execute("begin exclusive")
    begin = time.monotonic()
    try:
        said = refused(tmp_path, "lawns.gpkg")
    finally:
        held.execute("rollback")
        held.close()
    assert time.monotonic() - begin < 30
    assert "lawns.gpkg: is locked by another program" in said


def test_rows_that_stand_in_a_write_ahead_log_alone_are_not_passed_over(tmp_path):
    """Another program has written and not yet put its log into the file: what is priced would not
    be the file whose digest is told."""
    path = lawns(tmp_path)
    writer = sqlite3.connect(path, isolation_level=None)
    writer.execute("pragma journal_mode = wal")
    writer.execute("pragma wal_autocheckpoint = 0")
    for (name,) in writer.execute(
        "select name from sqlite_master where type = 'trigger'"
    ).fetchall():
        writer.execute(f'drop trigger "{name}"')
    writer.execute(
        "insert into lawns (geom, site, area) select geom, 'B', '1' from lawns where fid = 1"
    )
    try:
        assert "changes in a write-ahead log beside it (lawns.gpkg-wal)" in refused(
            tmp_path, "lawns.gpkg"
        )
    finally:
        writer.close()


# ------------------------------------------------------------------------------ texts


BOMB = """<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY a0 "grass">{entities}]>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>&a{last};</name></Document></kml>"""


def test_entities_that_grow_are_not_followed(tmp_path):
    """Thirty doublings by ten of one word."""
    entities = "".join(f'<!ENTITY a{k + 1} "{f"&a{k};" * 10}">' for k in range(30))
    (tmp_path / "lawns.kml").write_text(BOMB.format(entities=entities, last=30))
    begin = time.monotonic()
    refused(tmp_path, "lawns.kml")
    assert time.monotonic() - begin < 20


def test_an_entity_that_names_a_file_brings_none_of_it(tmp_path):
    (tmp_path / "secret.txt").write_text("grass is greener")
    (tmp_path / "lawns.kml").write_text(
        f"""<?xml version="1.0"?><!DOCTYPE kml [<!ENTITY secret SYSTEM "file://{tmp_path}/secret.txt">]>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>&secret;</name><Polygon><outerBoundaryIs>
<LinearRing><coordinates>-118,34 -117.999,34 -117.999,34.001 -118,34</coordinates></LinearRing></outerBoundaryIs>
</Polygon></Placemark></Document></kml>"""
    )
    try:
        source = read_of(tmp_path, "lawns.kml")
    except InputError as refusal:
        assert "greener" not in str(refusal)
    else:
        assert "greener" not in source.layers[0].table.to_csv()


# ------------------------------------------------------------------------------ files


def test_a_link_in_a_folder_that_leads_out_of_it_is_told(tmp_path):
    """A folder that was sent, with a link to somebody else's layer in it."""
    (tmp_path / "own").mkdir()
    (tmp_path / "sent").mkdir()
    lawns(tmp_path / "own", "private.gpkg")
    lawns(tmp_path / "sent")
    (tmp_path / "sent" / "more.gpkg").symlink_to(tmp_path / "own" / "private.gpkg")
    source = read_of(tmp_path, "sent")
    assert [layer.file for layer in source.layers] == ["sent/lawns.gpkg"]
    said = " ".join(finding.line() for finding in source.findings)
    assert "more.gpkg" in said
    assert "link" in said


@pytest.mark.parametrize("name", ["lawns.gpkg", "lawns.geojson", "lawns.fgb", "lawns.parquet"])
def test_a_sparse_file_of_ten_gigabytes_takes_neither_memory_nor_time(tmp_path, name):
    """Its end is a hole: sizes are looked at before anything is read."""
    path = tmp_path / name
    if name == "lawns.gpkg":
        lawns(tmp_path)
    else:
        path.write_bytes(
            {"geojson": b'{"type": "', "fgb": b"fgb\x03fgb\x00", "parquet": b"PAR1"}[name[6:]]
        )
    with path.open("r+b") as file:
        file.truncate(10 * GIB)
    begin = time.monotonic()
    assert "more than" in refused(tmp_path, name)
    with pytest.raises(Unreadable):
        sources.read(path, "", "EPSG:2228")
    assert time.monotonic() - begin < 15


def test_the_audit_of_a_report_that_was_made_by_hand_ends_in_words(tmp_path):
    """Folders from strangers: no table, tables of other columns, a database that is none."""
    (tmp_path / "run.json").write_text('{"settings": [], "inputs": "x"}')
    with pytest.raises(Unreadable):
        auditing.audit(tmp_path)
    (tmp_path / "run.json").write_text("[" * 100_000)
    with pytest.raises(Unreadable):
        auditing.audit(tmp_path)
    shutil.rmtree(tmp_path)
    with pytest.raises(Unreadable):
        auditing.audit(tmp_path)


def test_what_a_report_names_as_input_is_read_if_it_is_a_file_alone(tmp_path):
    """A stranger's run.json may name anything."""
    os.mkfifo(tmp_path / "lawns.gpkg")
    (tmp_path / "folder.shp").mkdir()
    for name in ("lawns.gpkg", "folder.shp", "nothing.geojson"):
        with pytest.raises(Unreadable):
            sources.read(tmp_path / name, "", "EPSG:2228")
    layers = [{"path": "lawns.gpkg", "layer": "", "role": "turf", "crs": "", "where": {}}]
    content = {"settings": {"layers": layers}, "inputs": [{"path": "lawns.gpkg", "sha256": ""}]}
    (tmp_path / "run.json").write_text(json.dumps(content))
    told = auditing.audit(tmp_path, tmp_path)
    assert "agrees" not in {one.verdict for one in told}
