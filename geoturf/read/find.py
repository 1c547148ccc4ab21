"""From a path in a bid to the files it means. Only files on this machine, of formats on the list,
by their first bytes.

A name such as ``/vsicurl/...`` would reach the network, and a virtual dataset (whatever its file is
called) may point anywhere: neither is ever handed to GDAL.
"""

from __future__ import annotations

import contextlib
import errno
import glob
import hashlib
import json
import os
import re
import sqlite3
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO
from urllib.parse import quote

from geoturf.read.formats import FORMATS, TAKEN, Format
from geoturf.read.say import Say, listed
from geoturf.rules.layer import nearest
from geoturf.rules.limits import MIB, LimitRules

_ZIPS = (".zip", ".kmz")  # a KMZ is a zip with a KML in it (OGC 12-007r2, annex C)
#: formats taken out of folders and zips
_SWEPT = tuple(suffix for suffix, kind in FORMATS.items() if kind.swept)
#: the parts of a shapefile that geoturf reads
SHAPEFILE_PARTS = (".cpg", ".dbf", ".prj", ".shp", ".shx")
#: what lies beside GIS files without being one
_BESIDE = {
    *SHAPEFILE_PARTS,
    ".sbn",
    ".sbx",
    ".qix",
    ".qmd",
    ".qml",
    ".xml",
    ".txt",
    ".md",
    ".csv",
    ".pdf",
    ".toml",
    "",
}
_ELSEWHERE = re.compile(r"^/vsi|://|^\s*[<{]|^(?![A-Za-z]:[\\/])[A-Za-z_0-9]{2,}:", re.IGNORECASE)
_HEAD = 65_536
_WAIT_S = 2.0  # for another program to let go of a GeoPackage
BAD_ZIP = (
    zipfile.BadZipFile,
    NotImplementedError,
    RuntimeError,
    ValueError,
    EOFError,
    OSError,
    zlib.error,
)
#: what GDAL's virtual drivers look for anywhere in a file's head, whatever else it is
_VIRTUAL = re.compile(rb"OGRVRTDataSource|OGRWFSDataSource|gdal_streamed_alg", re.IGNORECASE)


@dataclass(frozen=True)
class Item:
    """One GIS file: ``given`` as it is called in findings, ``path`` on disk, ``member`` inside a
    zip; ``alike``: the zip holds others of its name."""

    given: str
    path: Path
    member: str = ""
    alike: bool = False

    @property
    def name(self) -> PurePosixPath:
        return PurePosixPath(self.member or self.path.name)

    @property
    def stem(self) -> str:
        """What it is called: its name without ending, or its place in the zip where that is not
        enough."""
        if self.alike:
            return self.member
        return self.name.stem

    @property
    def kind(self) -> Format:
        return FORMATS[self.name.suffix.lower()]

    @property
    def format(self) -> str:
        return self.kind.name

    @property
    def dataset(self) -> str:
        """What GDAL is asked to open."""
        path = str(self.path.absolute())
        if self.format == "GML" and not self.member:  # GDAL writes a .gfs beside a plain path
            return f"/vsicached?file={quote(path, safe='/')}"
        if self.member:
            return f"/vsizip/{{{path}}}/{self.member}"
        return path

    @contextlib.contextmanager
    def opened(self, suffix: str = "") -> Iterator[IO[bytes]]:
        """The file, or a part of a shapefile (``.shx``), to be read as far as is needed. Raises
        FileNotFoundError where the part is missing, and what `BAD_ZIP` names where it cannot be
        taken out of its zip."""
        if not self.member:
            with (self._beside(suffix) if suffix else self.path).open("rb") as file:
                yield file
            return
        with (
            zipfile.ZipFile(self.path) as archive,
            archive.open(self._within(archive, suffix)) as file,
        ):
            yield file

    def size(self, suffix: str) -> int | None:
        """Bytes of a part of a shapefile, None where it is missing or its zip is damaged."""
        try:
            if not self.member:
                return self._beside(suffix).stat().st_size
            with zipfile.ZipFile(self.path) as archive:
                return archive.getinfo(self._within(archive, suffix)).file_size
        except BAD_ZIP:
            return None

    def _beside(self, suffix: str) -> Path:
        path = _part(self.path, suffix)
        if path is None:
            raise FileNotFoundError(suffix)
        return path

    def _within(self, archive: zipfile.ZipFile, suffix: str) -> str:
        """The member's name in its zip, or that of a part beside it."""
        if not suffix:
            return self.member
        same = {
            PurePosixPath(n).with_suffix(""): n
            for n in archive.namelist()
            if n.lower().endswith(suffix)
        }
        name = same.get(self.name.with_suffix(""))
        if name is None:
            raise FileNotFoundError(suffix)
        return name

    def stamp(self) -> str:
        """Size and time of the last change of the file (of all parts of a shapefile): another
        stamp, another content."""
        try:
            return " ".join(
                f"{stat.st_size}.{stat.st_mtime_ns}"
                for stat in (path.stat() for path in _parts(self))
            )
        except OSError:
            return "gone"


def _parts(item: Item) -> list[Path]:
    """The files that a file is made of."""
    if item.path.is_dir():
        return sorted(path for path in item.path.iterdir() if path.is_file())
    if item.format != "shapefile" or item.member:
        return [item.path]
    return [p for suffix in SHAPEFILE_PARTS if (p := _part(item.path, suffix))]


def _part(path: Path, suffix: str) -> Path | None:
    for candidate in (path.with_suffix(suffix), path.with_suffix(suffix.upper())):
        if candidate.is_file():
            return candidate
    return None


def find(given: str, folder: str, say: Say, limits: LimitRules | None = None) -> list[Item]:
    """The files that a path, a folder, a glob or a zip means, in stable order. Says what is not
    taken, and why."""
    say = say.at(file=given)
    limits = limits or LimitRules()
    found = _found(given, folder, say, limits)
    if len({item.path for item in found}) <= limits.files:
        return found
    fault = f"means {len(found):,} files, more than {limits.files:,.0f} ([limits] files)"
    say.refuse("too-many", f"{fault}; give fewer at a time, or raise the limit")
    return []


def _found(given: str, folder: str, say: Say, limits: LimitRules) -> list[Item]:
    """`find`, however many."""
    if _ELSEWHERE.search(given):
        what = "only files on this machine are read, no address or virtual dataset"
        say.refuse("not-a-file", f"{what}; give a {TAKEN}")
        return []
    path = Path(folder) / given
    if _is_geodatabase(path):
        return _file(path, given, say, limits)
    if _too_long(path):
        say.refuse("not-a-file", "its name is longer than this machine can hold; shorten it")
        return []
    if path.is_dir():
        return _folder(path, given, say, limits)
    if os.path.lexists(path):
        return _file(path, given, say, limits)
    if "**" in given and _too_wide(Path(folder, given.split("**")[0]), say, limits):
        return []
    found: list[Path] = []
    if glob.has_magic(given):
        found = sorted(map(Path, glob.glob(str(path), recursive=True)))  # noqa: PTH207
    found = [p for p in found if p.suffix.lower() in (*_SWEPT, *_ZIPS)]
    if "**" in given:
        found = _without_reports(found, Path(folder, given.split("**")[0]), say)
    if not found:
        beside = [p.name for p in path.parent.iterdir()] if path.parent.is_dir() else []
        what = f"there is no such file{nearest(path.name, beside)}"
        if glob.has_magic(given):
            what = "no GIS file matches"
        say.refuse("no-such-file", f"{what}; looked in {path.parent}")
    return [item for p in found for item in _file(p, _shown(p, folder), say, limits)]


def _too_long(path: Path) -> bool:
    """Whether the system can hold no file of that name at all."""
    try:
        path.lstat()
    except OSError as fault:
        return fault.errno == errno.ENAMETOOLONG
    return False


def _too_wide(folder: Path, say: Say, limits: LimitRules) -> bool:
    """Whether more lies below a folder than is looked through; says so."""
    seen = 0
    for _, folders, files in os.walk(folder):
        seen += len(folders) + len(files)
        if seen > limits.entries:
            what = (
                f"more than {limits.entries:,.0f} files and folders lie below it ([limits] entries)"
            )
            say.refuse("too-many", f"{what}; name a folder nearer to the files, or raise the limit")
            return True
    return False


def _shown(path: Path, folder: str | Path) -> str:
    """A found file as the bid would write it."""
    try:
        return path.relative_to(folder).as_posix()
    except ValueError:
        return path.as_posix()


def _folder(path: Path, given: str, say: Say, limits: LimitRules) -> list[Item]:
    if _too_wide(path, say, limits):
        return []
    before = say.to.left_out
    inside = sorted(_files_below(path, given.rstrip("/"), say))
    taken = [p for p in inside if p.suffix.lower() in (*_SWEPT, *_ZIPS)]
    known = (*FORMATS, *_ZIPS, *_BESIDE)
    unknown = [p for p in inside if p.suffix.lower() not in known]
    others = [p.relative_to(path).as_posix() for p in unknown]
    if others:
        say.warn("not-read", f"not read, being no {TAKEN}: {listed(others)}")
    if not taken and say.to.left_out == before:
        say.refuse("no-such-file", f"the folder holds no {TAKEN}")
    return [
        i
        for p in taken
        for i in _file(p, f"{given.rstrip('/')}/{p.relative_to(path).as_posix()}", say, limits)
    ]


def _files_below(path: Path, given: str, say: Say) -> Iterator[Path]:
    """All files in a folder and those within; says which folders are not entered."""

    def unread(error: OSError) -> None:
        where = _shown(Path(given, Path(error.filename).relative_to(path)), ".")
        what = f"the folder cannot be read ({error.strerror}); what is in it is left out"
        say.at(where).leave_out("unreadable", what)

    for here, folders, files in os.walk(path, onerror=unread):
        seen = [Path(here, name) for name in sorted(folders) if not _hidden(name)]
        links = [p for p in seen if p.is_symlink()]
        reports = [p for p in seen if _is_report(p)]
        if links:
            names = listed(_shown(p, path) for p in links)
            say.warn(
                "not-read",
                f"folders that are links are not entered: {names}; give their path itself",
            )
        if reports:
            _say_reports(reports, path, say)
        bases = [p for p in seen if p not in links and _is_geodatabase(p)]
        yield from bases
        folders[:] = [p.name for p in seen if p not in (*links, *reports, *bases)]
        found = [Path(here, name) for name in files if not _hidden(name)]
        out = [p for p in found if _leads_out(p, path)]
        if out:
            names = listed(_shown(p, path) for p in sorted(out))
            what = f"links that lead out of the folder are not followed: {names}"
            say.warn("not-read", f"{what}; give the path of what they lead to")
        yield from (p for p in found if p not in out)


def _leads_out(file: Path, folder: Path) -> bool:
    """Whether a file is a link to what lies elsewhere than in a folder."""
    return file.is_symlink() and not file.resolve().is_relative_to(folder.resolve())


def _without_reports(found: list[Path], folder: Path, say: Say) -> list[Path]:
    """The files that lie in no report of geoturf's own below a folder."""
    depth = len(folder.parts)
    within = {p: [parent for parent in p.parents if len(parent.parts) > depth] for p in found}
    reports = {parent for parents in within.values() for parent in parents}
    reports = {parent for parent in reports if _is_report(parent)}
    if reports:
        _say_reports(sorted(reports), folder, say)
    return [p for p in found if reports.isdisjoint(within[p])]


def _say_reports(reports: list[Path], folder: Path, say: Say) -> None:
    say.note(
        "own-report",
        "reports that geoturf wrote are not read as input: "
        f"{listed(_shown(p, folder) for p in reports)}",
    )


def _is_report(folder: Path) -> bool:
    """Whether a run of geoturf wrote it: its run.json says so."""
    try:
        content = json.loads((folder / "run.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(content, dict) and content.keys() >= {
        "version",
        "inputs",
        "settings",
        "counts",
        "cautions",
    }


def _hidden(name: str) -> bool:
    return any(part.startswith((".", "__MACOSX")) for part in PurePosixPath(name).parts)


def _file(path: Path, given: str, say: Say, limits: LimitRules) -> list[Item]:
    say = say.at(file=given)
    suffix = path.suffix.lower()
    if not (path.is_file() or _is_geodatabase(path)):
        say.leave_out(
            "unreadable",
            "is no regular file (a pipe, a device, a folder or a link to nothing); it is left out",
        )
        return []
    try:
        if suffix in _ZIPS:
            return _zip(path, given, say, limits)
        if suffix == ".dbf" or suffix == ".shx":
            say.refuse(
                "not-gis",
                "is a part of a shapefile; name its "
                f".shp{nearest(path.stem + '.shp', _shapes(path))}",
            )
            return []
        if suffix not in FORMATS:
            say.refuse("not-gis", f"is not a format geoturf reads; give a {TAKEN}")
            return []
        if set("!;\n\r\t") & set(
            str(path.absolute())
        ):  # pyogrio takes these for parts of an address
            what = "a path (folders too) with '!', ';', a tab or a line break in it cannot be read"
            say.leave_out("unreadable", f"{what}; rename it. It is left out")
            return []
        kind = FORMATS[suffix]
        size = path.stat().st_size
        fault = ""
        if not path.is_dir():
            with path.open("rb") as file:
                fault = _fault(file.read(_HEAD), kind, size, limits) or _part_fault(path, suffix)
        fault = fault or _size_fault(Item(given, path), limits) or _busy(path, kind)
    except OSError as error:
        fault = f"cannot be opened: {error.strerror}"
    if fault:
        say.leave_out("unreadable", f"{fault}; the file is left out")
        return []
    held = _contents(path) if FORMATS[suffix].name == "GeoPackage" else 0
    if held > limits.layers:
        what = f"holds {held:,} layers, more than {limits.layers:,.0f} ([limits] layers)"
        say.refuse("too-many", f"{what}; save those that are meant as a file, or raise the limit")
        return []
    return [Item(given, path)]


def _size_fault(item: Item, limits: LimitRules) -> str:
    """Why a file, or a shapefile with its parts, is more than is looked through, or nothing."""
    size = sum(part.stat().st_size for part in _parts(item)) / MIB
    if size <= limits.file_mib:
        return ""
    most = f"{limits.file_mib:,.0f} MiB that are taken of one file ([limits] file_mib)"
    return f"has {size:,.0f} MiB, more than the {most}: save the areas that are meant as a file"


def _busy(path: Path, kind: Format) -> str:
    """Why a GeoPackage that another program holds cannot be read as it stands, or nothing."""
    if kind.name != "GeoPackage":
        return ""
    log = path.with_name(f"{path.name}-wal")
    if log.is_file() and log.stat().st_size:
        what = f"has changes in a write-ahead log beside it ({log.name})"
        return f"{what}: close the program that writes it, and run again"
    base = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=_WAIT_S)
    try:
        base.execute("select count(*) from sqlite_master").fetchone()
    except sqlite3.OperationalError as fault:
        if "locked" in str(fault):
            return "is locked by another program: close it there, and run again"
    except (sqlite3.Error, ValueError):  # damage, which its reader tells of
        pass
    finally:
        base.close()
    return ""


def _is_geodatabase(path: Path) -> bool:
    """A folder with the tables of a file geodatabase in it."""
    return path.suffix.lower() == ".gdb" and path.is_dir() and any(path.glob("*.gdbtable"))


def _in_zip(names: list[str]) -> dict[str, list[str]]:
    """GIS files in a zip that holds ``names``, each with the members it is made of."""
    found: dict[str, list[str]] = {}
    for name in names:
        parents = [p for p in PurePosixPath(name).parents if p.suffix.lower() == ".gdb"]
        if parents and name.lower().endswith(".gdbtable"):
            found.setdefault(str(parents[-1]), []).append(name)
        elif (
            not parents and PurePosixPath(name).suffix.lower() in _SWEPT and not name.endswith("/")
        ):
            found[name] = [name]
    return found


def _contents(path: Path) -> int:
    """Layers that a GeoPackage lists (GDAL opens each to list them); 0 where that can't be told."""
    try:
        with contextlib.closing(
            sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        ) as base:
            return int(base.execute("select count(*) from gpkg_contents").fetchone()[0])
    except (sqlite3.Error, ValueError):  # a damaged schema may be no text, a count no number
        return 0


def _part_fault(path: Path, suffix: str) -> str:
    """Why a part of a shapefile cannot be opened, or nothing."""
    if suffix != ".shp":
        return ""
    for part in (
        p for low in SHAPEFILE_PARTS for p in {path.with_suffix(low), path.with_suffix(low.upper())}
    ):
        if os.path.lexists(part) and not part.is_file():
            return f"its {part.suffix} is no regular file"
        try:
            if part.is_file():
                part.open("rb").close()
        except OSError as error:
            return f"its {part.suffix} cannot be opened: {error.strerror}"
    return ""


def _shapes(path: Path) -> list[str]:
    return [p.name for p in path.parent.glob("*.[sS][hH][pP]")]


def _zip(path: Path, given: str, say: Say, limits: LimitRules) -> list[Item]:
    try:
        with zipfile.ZipFile(path) as archive:
            held = _in_zip([name for name in archive.namelist() if not _hidden(name)])
            names = list(held)
            size = sum(archive.getinfo(part).file_size for own in held.values() for part in own)
            if size > limits.unpacked_mib * MIB:
                what = f"holds GIS files of {size / MIB:,.0f} MiB by its own list"
                limit = f"{limits.unpacked_mib:,.0f} MiB are taken of a zip ([limits] unpacked_mib)"
                say.leave_out("too-many", f"{what}, and {limit}; unpack it, or raise the limit")
                return []
            faults = {name: _member_fault(archive, name, held, limits) for name in sorted(names)}
    except BAD_ZIP as error:
        say.leave_out("unreadable", f"is no zip that can be opened ({error}); the file is left out")
        return []
    if not names:
        say.leave_out("unreadable", f"holds no {TAKEN}; the file is left out")
    for name, fault in faults.items():
        if fault:
            say.leave_out("unreadable", f"{fault}; it is left out", layer=name)
    good = [name for name, fault in faults.items() if not fault]
    stems = [PurePosixPath(name).stem for name in good]
    return [
        Item(given, path, name, stems.count(stem) > 1)
        for name, stem in zip(good, stems, strict=True)
    ]


def _member_fault(
    archive: zipfile.ZipFile, name: str, held: dict[str, list[str]], limits: LimitRules
) -> str:
    try:
        if held[name] != [name]:  # a folder of tables, each of which can be taken out
            for part in held[name]:
                with archive.open(part) as file:
                    file.read(1)
            return ""
        with archive.open(name) as file:
            size = archive.getinfo(name).file_size
            kind = FORMATS[PurePosixPath(name).suffix.lower()]
            return _fault(file.read(_HEAD), kind, size, limits)
    except BAD_ZIP as error:
        return f"cannot be taken out of the zip ({error})"


def _fault(head: bytes, kind: Format, size: int, limits: LimitRules) -> str:
    """Why a file of a ``size`` that begins so cannot be of a ``kind``, or nothing."""
    if not head:
        return "is empty"
    if kind.text and _VIRTUAL.search(head):
        return "is a virtual dataset, which may point anywhere"
    if kind.text and size > limits.text_mib * MIB:
        most = f"{limits.text_mib:,.0f} MiB that are read ([limits] text_mib)"
        return (
            f"is {kind.name} of {size / MIB:,.0f} MiB, more than the {most}: send it as GeoPackage"
        )
    for what, why in kind.refused:
        if what.search(head):
            return why
    if not kind.begins.match(head):
        return f"is no {kind.name}, whatever its name says"
    other = b'"Topology"' in head or (
        b'"esriGeometry' in head and b'"FeatureCollection"' not in head
    )
    if other and kind.name == "GeoJSON":
        return "is JSON of another kind than GeoJSON"
    return ""


def digest(item: Item) -> str:
    """SHA-256 of a file; of a shapefile, of its parts one after another (``cat x.cpg x.dbf x.prj
    x.shp x.shx | sha256sum``)."""
    return sha256(*_parts(item))


def sha256(*paths: Path) -> str:
    """SHA-256 of files one after another, in hexadecimal."""
    sha = hashlib.sha256()
    for path in paths:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                sha.update(block)
    return sha.hexdigest()
