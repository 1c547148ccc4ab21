"""The bid file: everything priced together, in TOML.

`read_bid` gives a frozen `Bid` or raises `BidError` with every fault at once; unknown keys are refused at any depth with the
nearest right name.
"""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ValidationError, model_validator

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules import (
    CutRules,
    EdgeRules,
    GroundRules,
    Layer,
    LayoutRules,
    MaterialRules,
    ParcelRules,
    PriceRules,
    Product,
    WaterRules,
)
from geoturf.rules.base import Rules, rule


class Bid(Rules):
    """Everything priced together."""

    name: str = rule("Bid", "what the bid is called on every report")
    units: Literal["us", "metric"] = rule("us", "units of the reports")
    currency: str = rule("USD", "currency of every price")
    base_map: str = rule("", "tile URL of an online base map, {z}/{x}/{y}; none if empty")
    base_map_credit: str = rule("", "credit line the base map asks for")
    layers: tuple[Layer, ...]
    products: dict[str, Product] = rule({"turf60": {}}, "turf products by name")
    ground: GroundRules = rule({}, "measure, slope, double pay")
    parcels: ParcelRules = rule({}, "from parcels to lawns")
    edges: EdgeRules = rule({}, "edges and fasteners")
    layout: LayoutRules = rule({}, "roll layout")
    cuts: CutRules = rule({}, "cut plan")
    materials: MaterialRules = rule({}, "takeoff")
    price: PriceRules = rule({}, "price build-up and unit costs")
    water: WaterRules | None = rule(None, "water comparison; left out without it")
    folder: str = rule(".", "folder that layer paths start from; set by the reader")

    @model_validator(mode="after")
    def _names_agree(self) -> Bid:
        if not self.layers:
            raise ValueError("a bid needs at least one layer ([[layers]] with a path)")
        if not any(layer.role in ("turf", "parcel") for layer in self.layers):
            raise ValueError('a bid needs a layer of role "turf" or "parcel"; all layers here are context')
        for layer in self.layers:
            if layer.product and layer.product not in self.products:
                raise ValueError(
                    f"layer '{layer.name or layer.path}': product '{layer.product}' is not one of "
                    f"[products]{nearest(layer.product, self.products)}"
                )
        return self


def nearest(word: str, words: Any) -> str:
    """`` (did you mean 'x'?)`` or nothing."""
    match = difflib.get_close_matches(word, [str(w) for w in words], n=1, cutoff=0.5)
    return f" (did you mean '{match[0]}'?)" if match else ""


def read_bid(path: str | Path) -> Bid:
    """The bid in a TOML file. Raises `BidError` naming file, key, fault and mend."""
    path = Path(path)
    try:
        with path.open("rb") as file:
            content = tomllib.load(file)
    except FileNotFoundError:
        raise BidError(Finding("error", "no-bid-file", "there is no such bid file", file=path.name)) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BidError(Finding("error", "bid-syntax", f"not a TOML file: {error}", file=path.name)) from None
    except OSError as error:
        raise BidError(
            Finding("error", "bid-unreadable", f"cannot be read: {error.strerror}", file=path.name)
        ) from None
    if "folder" in content:
        raise BidError(
            Finding(
                "error",
                "unknown-key",
                "key 'folder' is not known; layer paths start from the bid file's folder",
                file=path.name,
            )
        )
    return make_bid(content | {"folder": str(path.parent)}, file=path.name)


def make_bid(content: dict[str, Any], file: str = "") -> Bid:
    """A `Bid` from plain tables, as TOML gives them. Raises `BidError` with every fault."""
    try:
        return Bid.model_validate(content)
    except ValidationError as error:
        raise BidError(_finding(fault, file) for fault in error.errors()) from None


def _finding(fault: Any, file: str) -> Finding:
    where = [str(part) for part in fault["loc"] if part not in ("function-before",)]
    key = ".".join(where) or "bid"
    if fault["type"] == "extra_forbidden":
        known = _keys_at(where[:-1])
        hint = nearest(where[-1], known)
        return Finding("error", "unknown-key", f"key '{key}' is not known{hint}", file=file)
    if fault["type"] == "missing":
        return Finding("error", "missing-key", f"key '{key}' is needed: {_describe(where)}", file=file)
    message = fault["msg"].removeprefix("Value error, ")
    return Finding("error", "bad-value", f"{key}: {message}", file=file)


def _model_at(path: list[str]) -> type[BaseModel]:
    """The rules class that a path of keys leads to."""
    model: type[BaseModel] = Bid
    for part in path:
        for name, info in model.model_fields.items():
            if part in (name, info.alias):
                inner = _inner_model(info.annotation)
                if inner is not None:
                    model = inner
    return model


def _inner_model(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        inner = _inner_model(part)
        if inner is not None:
            return inner
    return None


def _keys_at(path: list[str]) -> list[str]:
    return [info.alias or name for name, info in _model_at(path).model_fields.items() if name != "folder"]


def _describe(path: list[str]) -> str:
    fields = {info.alias or name: info for name, info in _model_at(path[:-1]).model_fields.items()}
    info = fields.get(path[-1])
    return (info.description or "") if info else ""
