"""The sample bids that ship with geoturf, written out to be tried and taken apart."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

from geoturf.errors import InputError
from geoturf.model import Finding

_PACKAGE = Path(__file__).parent
_PLACES = (_PACKAGE / "sample_gis", _PACKAGE.parent / "sample_gis")  # in a wheel; in a checkout
_LEFT_OUT = ("make.py", "__pycache__")


def write(folder: str | Path) -> list[Path]:
    """Copies the samples into ``folder`` and gives the bid files there. Raises `InputError` where
    that would overwrite a file or can't be done; then nothing was written over."""
    folder = Path(folder)
    source = next((place for place in _PLACES if place.is_dir()), None)
    if source is None:
        raise InputError(
            Finding("error", "no-samples", "this installation came without the samples")
        )
    files = [path.relative_to(source) for path in _files(source)]
    there = next((name for name in files if (folder / name).exists()), None)
    if there is not None:
        message = f"is there already; name another folder than {folder}"
        raise InputError(Finding("error", "sample-there", message, file=str(folder / there)))
    try:
        for name in files:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source / name, folder / name)
    except OSError as error:
        message = f"cannot be written: {error.strerror or error}; name another folder"
        raise InputError(Finding("error", "unwritable", message, file=str(folder))) from None
    return [folder / name for name in files if name.suffix == ".toml"]


def _files(folder: Path) -> Iterator[Path]:
    """Files of the samples, in order."""
    for path in sorted(folder.rglob("*")):
        if path.is_file() and not any(part in _LEFT_OUT for part in path.parts):
            yield path
