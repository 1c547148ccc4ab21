"""One GIS file on disk or in a zip: its name, its parts, its bytes, its digest."""

from __future__ import annotations

import contextlib
import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO
from urllib.parse import quote

from geoturf.read.formats import FORMATS, Format

#: the parts of a shapefile that geoturf reads
SHAPEFILE_PARTS = (".cpg", ".dbf", ".prj", ".shp", ".shx")
BAD_ZIP = (
    zipfile.BadZipFile,
    NotImplementedError,
    RuntimeError,
    ValueError,
    EOFError,
    OSError,
    zlib.error,
)


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
                for stat in (path.stat() for path in parts(self))
            )
        except OSError:
            return "gone"


def parts(item: Item) -> list[Path]:
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


def digest(item: Item) -> str:
    """SHA-256 of a file; of a shapefile, of its parts one after another (``cat x.cpg x.dbf x.prj
    x.shp x.shx | sha256sum``)."""
    return sha256(*parts(item))


def sha256(*paths: Path) -> str:
    """SHA-256 of files one after another, in hexadecimal."""
    sha = hashlib.sha256()
    for path in paths:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                sha.update(block)
    return sha.hexdigest()
