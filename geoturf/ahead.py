"""Workers begun before they are wanted: they load what they need while the input is read. Whether
that is worth it is guessed by the size of the input; the result does not hang on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from geoturf.bid import Bid
from geoturf.engine import Engine

_LARGE = 120_000  # bytes of a layer's files from which it likely has areas for many workers


def begin(engine: Engine, bid: Bid) -> None:
    """Starts the workers of a bid whose input is large."""
    if any(_bytes(Path(bid.folder) / layer.path) >= _LARGE for layer in bid.layers):
        engine.prepare(load)


def load() -> None:
    """What a worker will need, of the longest to load."""
    import geoturf.kernels  # noqa: F401


def _bytes(path: Path) -> int:
    """Size of a layer: of the files of its name, or of those in its folder. 0 where nothing can be
    looked at, which whoever reads it will tell."""
    try:
        return sum(one.stat().st_size for one in _files(path) if one.is_file())
    except (OSError, ValueError):
        return 0


def _files(path: Path) -> Iterator[Path]:
    if path.is_dir():
        return path.iterdir()
    stem = f"{path.stem}."
    return (one for one in path.parent.iterdir() if one.name.startswith(stem))
