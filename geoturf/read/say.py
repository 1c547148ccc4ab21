"""How reading says what it notices: everything is gathered, and told at once at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from geoturf.model import Finding, Severity


@dataclass
class Gathered:
    """All that was said so far. ``refused``: the whole input cannot be taken. ``left_out``: things
    that would be priced and are not."""

    findings: list[Finding] = field(default_factory=list)
    refused: bool = False
    left_out: int = 0


@dataclass(frozen=True)
class Say:
    """Says findings about one place in the data."""

    to: Gathered
    file: str = ""
    layer: str = ""
    named: Callable[[str], dict[str, str]] | None = (
        None  # a feature's site and area, where they are known
    )

    def at(self, file: str = "", layer: str = "") -> Say:
        return replace(self, file=file or self.file, layer=layer or self.layer)

    def naming(self, named: Callable[[str], dict[str, str]]) -> Say:
        return replace(self, named=named)

    def _put(self, severity: Severity, code: str, message: str, where: dict[str, str]) -> None:
        place = {"file": self.file, "layer": self.layer}
        if self.named and where.get("feature"):
            place |= self.named(where["feature"])
        self.to.findings.append(Finding(severity, code, message, **place | where))

    def refuse(self, code: str, message: str, **where: str) -> None:
        """The whole input is refused, once everything has been looked at."""
        self.to.refused = True
        self._put("error", code, message, where)

    def leave_out(self, code: str, message: str, count: int = 1, **where: str) -> None:
        """``count`` features (1 for a file whose features cannot be counted) are not priced."""
        self.to.left_out += count
        self._put("error", code, message, where)

    def pass_over(self, code: str, message: str, **where: str) -> None:
        """A feature that holds nothing to price: counted as left out, but a warning."""
        self.to.left_out += 1
        self._put("warning", code, message, where)

    def warn(self, code: str, message: str, **where: str) -> None:
        self._put("warning", code, message, where)

    def note(self, code: str, message: str, **where: str) -> None:
        self._put("note", code, message, where)


def listed(names: Iterable[object], most: int = 6) -> str:
    """``a, b, c and 4 more``."""
    texts = [str(name) for name in names]
    named = ", ".join(texts[:most])
    more = len(texts) - most
    if more > 0:
        return f"{named} and {more} more"
    return named


def counted(n: int, noun: str) -> str:
    """``1 feature``, ``3 features``."""
    return f"{n:,} {noun}{'' if n == 1 else 's'}"
