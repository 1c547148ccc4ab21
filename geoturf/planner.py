"""The planner's page: planner.html, for whoever must say which lawns to convert."""

from __future__ import annotations

from html import escape

from geoturf.model import Result


def page(result: Result) -> str:
    """A page of its own, no network, every text escaped."""
    return f"<!doctype html><meta charset=utf-8><title>{escape(result.bid.name)}</title>"
