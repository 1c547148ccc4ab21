"""Who a bid is from and to, and on what terms: what its papers say, and no figure hangs on."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, model_validator

from geoturf.rules.base import COMMON, Rules, rule

OWN = ""  # nobody's figure: the bid says it or it is left out


def _lines(value: Any) -> Any:
    """One text, its lines apart, or a list of texts."""
    if isinstance(value, str):
        return tuple(value.splitlines())
    return value


def _day(value: Any) -> Any:
    """A date of TOML, or one in quotes; never a number of seconds or a time of day."""
    if isinstance(value, str):
        try:
            return datetime.date.fromisoformat(value)
        except ValueError:
            pass
    elif isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    raise ValueError(f"{value!r} is no date, which is written like 2026-03-31")


Lines = Annotated[tuple[str, ...], BeforeValidator(_lines)]
Day = Annotated[datetime.date, BeforeValidator(_day)]


class Bidder(Rules):
    """Who bids: the head of every paper that leaves the house."""

    name: str = rule("", "the firm that bids, as its papers name it", source=OWN)
    address: Lines = rule((), "its address: a text, or a list of lines", source=OWN)
    licence: str = rule("", "its licence, as the law wants it on a proposal", source=OWN)
    contact: Lines = rule((), "whom to ask, and how: a text, or a list of lines", source=OWN)
    logo: str = rule(
        "", "picture for the head of its papers, beside the bid file: PNG, JPEG or SVG", source=OWN
    )


class Client(Rules):
    """Whom a bid is for."""

    name: str = rule("", "whom the bid is for", source=OWN)
    address: Lines = rule((), "address: a text, or a list of lines", source=OWN)
    contact: Lines = rule((), "who there reads it: a text, or a list of lines", source=OWN)


class PhaseDates(Rules):
    """When a phase is to be: what bidder and client agree on."""

    deliver_on: Day | None = rule(None, "day its turf is to be delivered", source=OWN)
    start: Day | None = rule(None, "day its work begins", source=OWN)
    finish: Day | None = rule(None, "day its work is done", source=OWN)

    @model_validator(mode="after")
    def _in_order(self) -> PhaseDates:
        if self.start and self.finish and self.finish < self.start:
            raise ValueError(f"finish, {self.finish}, is before start, {self.start}")
        return self


class Terms(Rules):
    """On what terms; what is not given leaves no hole in a paper."""

    date: Day | None = rule(None, "date the papers bear", source=OWN)
    valid_until: Day | None = rule(None, "last day the price holds", source=OWN)
    inclusions: Lines = rule(
        (), "what the price includes beside the work of its items: a list of texts", source=OWN
    )
    exclusions: Lines = rule((), "what the price does not include: a list of texts", source=OWN)
    allowances: Lines = rule((), "sums and quantities allowed for: a list of texts", source=OWN)
    payment: Lines = rule((), "when what is paid: a text, or a list of texts", source=OWN)
    warranty: Lines = rule((), "what is warranted: a text, or a list of texts", source=OWN)
    signatures: Lines = rule((), "who signs: a list of names, a line for each", source=OWN)
    phases: dict[str, PhaseDates] = rule({}, "dates of phases, by their names", source=OWN)
    page: Literal["letter", "a4"] | None = rule(
        None,
        "paper that is printed on; letter for a bid in US units, a4 for a metric one if not given",
        source=COMMON,
    )

    @model_validator(mode="after")
    def _in_order(self) -> Terms:
        if self.date and self.valid_until and self.valid_until < self.date:
            raise ValueError(f"valid_until, {self.valid_until}, is before date, {self.date}")
        return self
