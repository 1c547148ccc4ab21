"""geoturf: from polygons to a priced synthetic-turf bid.

    bid = geoturf.read_bid("bid.toml")
    result = geoturf.run(bid)
    result.write("out")

Importing does no work; names load when they are first used.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"

_HOME = {
    "read_bid": "bid",
    "make_bid": "bid",
    "Bid": "bid",
    "run": "pipeline",
    "check": "pipeline",
    "draft": "draft",
    "Finding": "model",
    "Source": "model",
    "Ground": "model",
    "Edges": "model",
    "Layout": "model",
    "Choices": "model",
    "CutPlan": "model",
    "Takeoff": "model",
    "Price": "model",
    "Water": "model",
    "Result": "model",
    "GeoturfError": "errors",
    "BidError": "errors",
    "InputError": "errors",
    "PromiseError": "errors",
}

__all__ = ["__version__", *_HOME]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'geoturf' has no attribute '{name}'")
    return getattr(import_module(f"geoturf.{_HOME[name]}"), name)


def __dir__() -> list[str]:
    return sorted(__all__)
