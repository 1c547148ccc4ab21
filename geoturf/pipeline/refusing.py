"""Faults of what is made of a bid, told by the name of what was made."""

from __future__ import annotations

from dataclasses import replace

from geoturf.errors import PromiseError
from geoturf.model import Finding


def in_alternate(title: str, finding: Finding) -> Finding:
    return replace(finding, message=f"alternate '{title}': {finding.message}")


def refuse_broken(title: str, broken: tuple[Finding, ...]) -> None:
    if broken:
        raise PromiseError(in_alternate(title, one) if title else one for one in broken)
