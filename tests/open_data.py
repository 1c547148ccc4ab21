"""Open data that a package brings."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path


def bubenec() -> str:
    """The path of momepy's ``bubenec``, as its ``datasets.get_path`` gives it, without two seconds
    of importing momepy."""
    spec = find_spec("momepy")
    assert spec is not None and spec.origin is not None
    return str(Path(spec.origin).parent / "datasets" / "bubenec.gpkg")
