"""What the audit reads of zips and KML, beside what GDAL reads of them."""

import zipfile

import geopandas
import pytest
import shapely
from shapely.geometry import Polygon, box

from geoturf.audit import sources
from geoturf.audit.folder import Unreadable

HOLED = Polygon([(40, 0), (70, 0), (70, 20), (40, 20)], [[(50, 5), (55, 5), (55, 10), (50, 10)]])


@pytest.fixture
def lots():
    shapes = [
        box(0, 0, 20, 10),
        HOLED,
        shapely.MultiPolygon([box(80, 0, 85, 5), box(90, 0, 99, 9)]),
    ]
    shapes = [shapely.affinity.translate(one, 250_000, 4_070_000) for one in shapes]
    columns = {"site": ["A", "B & Co", "C"], "Name": ["x", "y", "z"]}
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:26911")


def zipped(folder, names, into="lots.zip", inside=""):
    with zipfile.ZipFile(folder / into, "w") as archive:
        for name in names:
            archive.write(folder / name, inside + name)
    return folder / into


def test_a_shapefile_in_a_zip_is_the_shapefile(lots, tmp_path):
    lots.to_file(tmp_path / "lots.shp")
    names = [path.name for path in tmp_path.glob("lots.*")]
    layer = sources.read(zipped(tmp_path, names, inside="some/where/"), "", "")
    assert shapely.equals(layer.shape, lots.geometry.to_numpy()).all()
    assert layer.column("site") == ["A", "B & Co", "C"] and layer.feature == ["1", "2", "3"]


@pytest.mark.parametrize("zip_it", [False, True], ids=["kml", "kmz"])
def test_placemarks_are_as_gdal_reads_them(lots, tmp_path, zip_it):
    lots.to_crs("EPSG:4326").to_file(tmp_path / "lots.kml", driver="KML")
    read = geopandas.read_file(tmp_path / "lots.kml")
    path = zipped(tmp_path, ["lots.kml"], "lots.kmz") if zip_it else tmp_path / "lots.kml"
    layer = sources.read(path, "lots", "")
    assert shapely.equals(layer.shape, shapely.force_2d(read.geometry.to_numpy())).all()
    assert layer.column("site") == read["site"].tolist() == ["A", "B & Co", "C"]
    assert layer.column("Name") == ["x", "y", "z"]


FOLDERS = """<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Folder><name>one</name><Placemark><name>a</name></Placemark></Folder>
<Folder><name>two</name><Placemark><name>b</name>
<ExtendedData><Data name="site"><value>S</value></Data></ExtendedData>
<Polygon><outerBoundaryIs><LinearRing><coordinates>
0,0,5 1,0,5 1,1,5 0,0,5</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Folder>
</Document></kml>"""


def test_a_folder_of_kml_is_read_by_its_name(tmp_path):
    (tmp_path / "a.kml").write_text(FOLDERS)
    layer = sources.read(tmp_path / "a.kml", "two", "")
    assert layer.shape[0].equals(Polygon([(0, 0), (1, 0), (1, 1)])) and layer.column("site") == [
        "S"
    ]
    with pytest.raises(Unreadable, match="2 folders"):
        sources.read(tmp_path / "a.kml", "", "")


def test_what_is_not_plain_is_said(lots, tmp_path):
    (tmp_path / "a.kml").write_text('<!DOCTYPE kml [<!ENTITY x "y">]>' + FOLDERS)
    with pytest.raises(Unreadable, match="entities"):
        sources.read(tmp_path / "a.kml", "two", "")
    lots.to_file(tmp_path / "a.gpkg")
    with pytest.raises(Unreadable, match="2 files of geometry, none by the name of its layer"):
        sources.read(zipped(tmp_path, ["a.kml", "a.gpkg"]), "", "")
