"""What can go wrong, and how it is said.

    GeoturfError                every refusal; carries one or more findings
    ├── BidError                the bid file: unknown key, unit that does not fit, unknown product
    ├── InputError              the GIS input: nothing left to price, duplicate ids, unreadable file
    └── PromiseError            a finished result broke a promise of its own (a fault of geoturf)

A refusal is a list of :class:`geoturf.model.Finding`; each names file, layer, feature, fault and
mend in one line.
"""

from __future__ import annotations

from collections.abc import Iterable

from geoturf.model import Finding


class GeoturfError(Exception):
    """A run that cannot go on. ``findings`` holds every reason, gathered, not only the first."""

    def __init__(self, findings: Finding | Iterable[Finding]):
        self.findings: tuple[Finding, ...] = (
            (findings,) if isinstance(findings, Finding) else tuple(findings)
        )
        super().__init__("\n".join(f.line() for f in self.findings))


class BidError(GeoturfError):
    """The bid file says something geoturf cannot take."""


class InputError(GeoturfError):
    """The GIS input is refused."""


class PromiseError(GeoturfError):
    """A finished result broke one of geoturf's own promises; nothing is written."""
