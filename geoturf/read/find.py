"""From a path in a bid to the files it means. Only files on this machine, of formats on the list,
by their first bytes.

A name such as ``/vsicurl/...`` would reach the network, and a virtual dataset (whatever its file is
called) may point anywhere: neither is ever handed to GDAL.
"""

from __future__ import annotations

import errno
import glob
import json
import os
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from geoturf.read.formats import FORMATS, TAKEN
from geoturf.read.item import BAD_ZIP, SHAPEFILE_PARTS, Item
from geoturf.read.say import Say, listed
from geoturf.read.sound import HEAD, busy, content_fault, contents, part_fault, size_fault
from geoturf.rules.layer import nearest
from geoturf.rules.limits import MIB, LimitRules

_ZIPS = (".zip", ".kmz")  # a KMZ is a zip with a KML in it (OGC 12-007r2, annex C)
#: formats taken out of folders and zips
_SWEPT = tuple(suffix for suffix, kind in FORMATS.items() if kind.swept)
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
                fault = content_fault(file.read(HEAD), kind, size, limits) or part_fault(
                    path, suffix
                )
        fault = fault or size_fault(Item(given, path), limits) or busy(path, kind)
    except OSError as error:
        fault = f"cannot be opened: {error.strerror}"
    if fault:
        say.leave_out("unreadable", f"{fault}; the file is left out")
        return []
    held = contents(path) if FORMATS[suffix].name == "GeoPackage" else 0
    if held > limits.layers:
        what = f"holds {held:,} layers, more than {limits.layers:,.0f} ([limits] layers)"
        say.refuse("too-many", f"{what}; save those that are meant as a file, or raise the limit")
        return []
    return [Item(given, path)]


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
            return content_fault(file.read(HEAD), kind, size, limits)
    except BAD_ZIP as error:
        return f"cannot be taken out of the zip ({error})"
