"""geoturf: from polygons to a priced synthetic-turf bid.

    bid = geoturf.read_bid("bid.toml")
    result = geoturf.run(bid)
    geoturf.write(result, "out")

Importing does no work; names load when they are first used.
"""

from __future__ import annotations

from importlib import import_module

__version__ = "0.1.0"

_HOME = {  # public name -> where it lives, in flow order
    "read_bid": "bid.read_bid",
    "make_bid": "bid.make_bid",
    "Bid": "bid.Bid",
    "draft_bid": "draft.draft",
    "check_bid": "pipeline.check",
    "run": "pipeline.run",
    "write": "report.write",
    **{
        name: f"model.{name}"
        for name in (
            "Finding",
            "Source",
            "Ground",
            "Edges",
            "Layout",
            "Choices",
            "CutPlan",
            "Takeoff",
            "Price",
            "Water",
            "Result",
        )
    },
    **{
        name: f"errors.{name}"
        for name in ("GeoturfError", "BidError", "InputError", "PromiseError")
    },
}

__all__ = ["__version__", *_HOME]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module 'geoturf' has no attribute '{name}'")
    module, attribute = _HOME[name].split(".")
    return getattr(import_module(f"geoturf.{module}"), attribute)


def __dir__() -> list[str]:
    return sorted(__all__)
