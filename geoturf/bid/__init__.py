"""The bid file: everything priced together, in TOML.

`read_bid` gives a frozen `Bid` or raises `BidError` with every fault at once; unknown keys are
refused at any depth with the nearest right name.

    faults      what does not fit, one line a fault
    listing     every rule there is, and which of a bid's values are unusual
    ordinances  ordinances that a bid names by their file
    assumed     which figures behind a price are geoturf's own
    alternates  the bid with an alternate accepted, every lot bought alone, or a price book opened
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError, model_validator

from geoturf.bid import assumed, faults, kept, listing, ordinances
from geoturf.bid.alternates import (
    Choice,
    accepted,
    booked,
    bought_alone,
    choices,
    clash,
    lot_by_lot,
)
from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules import (
    Bidder,
    CalendarRules,
    Client,
    CutRules,
    EdgeRules,
    GroundRules,
    Layer,
    LayoutRules,
    LimitRules,
    MaterialRules,
    ParcelRules,
    PriceRules,
    Product,
    Ranges,
    Terms,
    WaterRules,
)
from geoturf.rules.base import Rules, rule
from geoturf.rules.layer import PRICED, nearest
from geoturf.rules.offer import PhaseDates
from geoturf.rules.price import Book
from geoturf.rules.ranges import misfit_of, own_values
from geoturf.units import SYSTEMS

__all__ = [
    "Bid",
    "accepted",
    "assumed",
    "booked",
    "bought_alone",
    "choices",
    "every_rule",
    "lot_by_lot",
    "make_bid",
    "nearest",
    "read_bid",
    "refuse_foreign_prices",
    "rule_in_words",
    "unusual",
]


class Bid(Rules):
    """Everything priced together."""

    name: str = rule("Bid", "what the bid is called on every report", source="")
    units: Literal["us", "metric"] = rule("us", "units of the reports", source="")
    currency: str = rule("USD", "currency of every price, three capital letters", source="")
    base_map: str = rule(
        "", "tile URL of an online base map, {z}/{x}/{y}; none if empty", source=""
    )
    base_map_credit: str = rule("", "credit line the base map asks for", source="")
    bidder: Bidder = rule({}, "who bids", source="")
    client: Client = rule({}, "whom the bid is for", source="")
    terms: Terms = rule({}, "on what terms", source="")
    keep: tuple[str, ...] = rule(
        (),
        "columns of every turf and parcel layer carried through into areas.csv, sites.csv, "
        "layout.gpkg, the office map and portfolio.html",
        source="",
    )
    layers: tuple[Layer, ...] = rule(
        ..., "where polygons come from: [[layers]] with a path, once for each", source=""
    )
    products: dict[str, Product] = rule({"turf60": {}}, "turf products by name", source="")
    ground: GroundRules = rule({}, "measure, slope, double pay", source="")
    parcels: ParcelRules = rule({}, "from parcels to lawns", source="")
    edges: EdgeRules = rule({}, "edges and fasteners", source="")
    layout: LayoutRules = rule({}, "roll layout", source="")
    cuts: CutRules = rule({}, "cut plan", source="")
    materials: MaterialRules = rule({}, "takeoff", source="")
    price: PriceRules = rule({}, "price build-up and unit costs", source="")
    books: dict[str, Book] = rule(
        {}, "price books by name: what other places or clients pay, chosen by price_book", source=""
    )
    ranges: Ranges = rule({}, "how sure the price is: what its figures may come to", source="")
    calendar: CalendarRules = rule({}, "crews, working days, when what is done", source="")
    limits: LimitRules = rule({}, "how much is taken at once", source="")
    water: WaterRules | None = rule(None, "water comparison; left out without it", source="")
    folder: str = rule(".", "folder that layer paths start from; set by the reader", source="")
    looked: dict[str, str] = rule(
        {},
        "of a bid made for bare files: each file's stamp when it was looked at; empty for bid "
        "files",
        source="",
    )

    given: dict[str, Any] = rule(
        {}, "the tables it was made of, which alternates change; set by the reader", source=""
    )

    @property
    def page(self) -> str:
        """The paper that is printed on: ``letter`` or ``a4``."""
        return self.terms.page or ("letter" if self.units == "us" else "a4")

    @property
    def dates(self) -> dict[str, PhaseDates]:
        """What is known of when a phase is to be: by the terms, and by what its prices rise to."""
        known = dict(self.terms.phases)
        rise = self.price.escalation
        for phase, day in (rise.starts if rise else {}).items():
            own = known.get(phase, PhaseDates())
            known[phase] = own.model_copy(update={"start": own.start or day})
        return known

    def __eq__(self, other: object) -> bool:
        """Bids are equal where they rule the same, however they are written."""
        ruled = [name for name in Bid.model_fields if name != "given"]
        same = (getattr(self, name) == getattr(other, name) for name in ruled)
        return isinstance(other, Bid) and all(same)

    __hash__ = None  # type: ignore[assignment]  # it holds tables

    @model_validator(mode="after")
    def _names_agree(self) -> Bid:
        wrong = _disagreements(self)
        if wrong:
            raise ValueError("\n".join(wrong))
        return self


def _disagreements(bid: Bid) -> list[str]:
    """Names in one part of a bid that another part does not have; one line each."""
    wrong: list[str] = []
    if len(bid.currency) != 3 or not bid.currency.isascii() or not bid.currency.isupper():
        wrong.append(f"currency: '{bid.currency}' is not three capital letters, such as USD")
    if not bid.layers:
        wrong.append("layers: a bid needs at least one layer ([[layers]] with a path)")
    elif not any(layer.role in PRICED for layer in bid.layers):
        wrong.append(
            'layers: a bid needs a layer of role "turf" or "parcel"; all layers here are context'
        )
    if not bid.products:
        wrong.append("products: a bid needs at least one product ([products.turf60])")
    uses = [
        (f"layers#{k + 1}.product", layer.product)
        for k, layer in enumerate(bid.layers)
        if layer.product
    ]
    uses += [
        (f"cuts.stock#{k + 1}.product", piece.product) for k, piece in enumerate(bid.cuts.stock)
    ]
    for k, one in enumerate(bid.price.alternates):
        swapped = [name for pair in one.products.items() for name in pair]
        uses += [(f"price.alternates#{k + 1}.products", name) for name in swapped]
    for key, used in uses:
        if used not in bid.products:
            hint = nearest(used, bid.products)
            wrong.append(f"{key}: '{used}' is not one of [products]{hint}")
    for k, layer in enumerate(bid.layers):
        if layer.price_book and layer.price_book not in bid.books:
            hint = nearest(layer.price_book, bid.books)
            wrong.append(
                f"layers#{k + 1}.price_book: '{layer.price_book}' is not one of [books]{hint}"
            )
    for choice in choices(bid.price):
        if fault := clash(choice):
            numbers = ", ".join(map(str, choice.numbers))
            what = f"alternates {numbers} cannot be accepted together: they differ in {fault}"
            wrong.append(f"price.combine: {what}")
    for name, product in bid.products.items():
        wrong += [f"products.{name}: {unfit}" for unfit in _unfit_rolls(bid, product)]
    wrong += _starts_apart(bid)
    if bid.cuts.cutting == "site" and bid.layout.nesting == "slanted":
        wrong.append(
            'cuts.cutting: "site" cuts pieces square; set layout.nesting = "square", or cut in a yard'
        )
    wrong += kept.clashes(bid.keep, bid.layers)
    wrong += _rebates_past(bid)
    wrong += _ranges_apart(bid)
    names = [layer.name or Path(layer.path).stem for layer in bid.layers]
    if bid.layout.toward and bid.layout.toward not in names:
        wrong.append(
            "layout.toward: no layer is called "
            f"'{bid.layout.toward}'{nearest(bid.layout.toward, names)}"
        )
    return wrong


def _starts_apart(bid: Bid) -> Iterator[str]:
    """Phases that start on one day by the terms and on another by what their prices rise to."""
    rise = bid.price.escalation
    for phase, day in (rise.starts if rise else {}).items():
        agreed = bid.terms.phases[phase].start if phase in bid.terms.phases else None
        if agreed and agreed != day:
            yield f"terms.phases.{phase}: start, {agreed}, is not {day} of price.escalation.starts"


def _rebates_past(bid: Bid) -> Iterator[str]:
    """Rebates on offer whose deadline is before the date of the bid, or that cannot be held
    against one."""
    day = bid.terms.date
    for name in bid.water.offered if bid.water else ():
        rebate = bid.water.conversions[name].rebate if bid.water else None
        if rebate is None or rebate.deadline is None:
            continue
        place = f"water.conversions.{name}.rebate: its deadline, {rebate.deadline},"
        if day is None:
            yield f"{place} needs a day to be held against; state terms.date"
        elif rebate.deadline < day:
            yield f"{place} is before {day}, the date of the bid; take the rebate out"


def _ranges_apart(bid: Bid) -> Iterator[str]:
    """Ranges of nothing, or about another value than the bid's."""
    for table, own in own_values(bid).items():
        for key, ends in getattr(bid.ranges, table).items():
            name = f"ranges.{table}.{key}"
            if key not in own:
                yield f"{name}: the bid has no '{key}'{nearest(key, own)}"
            elif fault := misfit_of(ends, own[key]):
                yield f"{name}: {fault}"


def _unfit_rolls(bid: Bid, product: Product) -> Iterator[str]:
    """What keeps the layout from cutting a product's rolls."""
    told = SYSTEMS[bid.units]
    for size in product.widths:
        longest = max(size.roll_lengths)
        unfit = bid.layout.unfit(size.roll_width_m, longest, told)
        unfit = unfit or bid.layout.too_fine(longest, told)
        if unfit:
            yield unfit


def read_bid(path: str | Path) -> Bid:
    """The bid in a TOML file. Raises `BidError` naming file, key, fault and mend."""
    path = Path(path)

    def refused(code: str, message: str) -> BidError:
        return BidError(Finding("error", code, message, file=path.name))

    try:
        if path.exists() and not path.is_file():
            raise refused(
                "bid-unreadable", "cannot be read: it is no regular file, as a bid (TOML) must be"
            )
        content = tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        beside = [p.name for p in path.parent.glob("*.toml")] if path.parent.is_dir() else []
        raise refused(
            "no-bid-file", f"there is no such bid file{nearest(path.name, beside)}"
        ) from None
    except UnicodeDecodeError as error:
        raise refused(
            "bid-syntax", f"is not UTF-8 text, as TOML must be (byte {error.start})"
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise refused("bid-syntax", f"is not TOML: {error}") from None
    except OSError as error:
        raise refused("bid-unreadable", f"cannot be read: {error.strerror}") from None
    except (ValueError, RecursionError):
        raise refused("bid-syntax", "is not TOML that can be read") from None
    if "folder" in content:
        raise refused(
            "unknown-key", "key 'folder' is not known; layer paths start from the bid file's folder"
        )
    for key in ("looked", "given"):
        if key in content:
            raise refused("unknown-key", f"key '{key}' is not known; take it out")
    return make_bid(content | {"folder": str(path.parent)}, file=path.name)


def make_bid(content: dict[str, Any], file: str = "") -> Bid:
    """A `Bid` from plain tables, as TOML gives them. Raises `BidError` with every fault."""
    try:
        content = ordinances.with_files(content)
    except BidError as refused:
        rest = _invalid(ordinances.without(content), file)
        raise BidError([*refused.findings, *rest]) from None
    try:
        bid = Bid.model_validate(content | {"given": content})
    except ValidationError as error:
        raise BidError(faults.as_findings(error, Bid, file)) from None
    foreign = _foreign_prices(bid, file)
    foreign += [fault for choice in choices(bid.price) for fault in _unfit(bid, choice, file)]
    if foreign:
        raise BidError(foreign)
    return bid


def refuse_foreign_prices(bid: Bid) -> None:
    """Raises `BidError` where any price of a bid, given or by default, is in another currency than
    the bid's: as a bid is read, and once more as it is run, since a bid may be changed between."""
    if foreign := _foreign_prices(bid):
        raise BidError(foreign)


def _foreign_prices(bid: Bid, file: str = "") -> list[Finding]:
    return faults.foreign_prices(bid, bid.currency, bid.given, file)


def _invalid(content: dict[str, Any], file: str) -> list[Finding]:
    """What no rule takes in a bid's tables."""
    try:
        Bid.model_validate(content | {"given": content})
    except ValidationError as error:
        return faults.as_findings(error, Bid, file)
    return []


def _unfit(bid: Bid, choice: Choice, file: str) -> list[Finding]:
    """What is wrong with the bid that some alternates make of it."""
    try:
        made = accepted(bid, choice)
    except ValidationError as error:
        found = faults.as_findings(error, Bid, file)
    else:
        found = _foreign_prices(made, file)
    said = f"alternate '{choice.title()}': "
    return [replace(one, message=said + one.message) for one in found]


def every_rule() -> list[tuple[str, str, str, str, str, str, str]]:
    """(section, key, default, low, high, source, what) of every rule of a bid, in the order of the
    classes; as text."""
    return [row for row in listing.rows(Bid) if row[1] not in faults.OWN]


def unusual(bid: Bid) -> list[Finding]:
    """Notes on the values of a bid that lie outside their usual range."""
    return listing.unusual(bid)


def rule_in_words(row: listing.Row) -> str:
    """A row of `every_rule` as text: the rule as it is written in a bid file, what it is, its usual
    range and source."""
    return listing.in_words(row)
