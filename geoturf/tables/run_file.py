"""run.json: what was run, on what, and what came of it."""

from __future__ import annotations

import json
from pathlib import Path

from geoturf.bid import assumed
from geoturf.model import Result
from geoturf.tables.in_brief import summary


def write_run(result: Result, folder: Path) -> None:
    """run.json: what was run, on what, with which settings, and what came of it."""
    from geoturf import __version__

    severity = [f.severity for f in result.findings]
    content = {
        "version": __version__,
        "inputs": [{"path": path, "sha256": digest} for path, digest in result.source.inputs],
        "settings": result.bid.model_dump(
            mode="json", by_alias=True, exclude={"folder", "looked", "given"}, fallback=str
        ),
        "counts": {
            "sites": int(result.ground.areas["site"].nunique()),
            "areas": len(result.ground.areas),
            "pieces": len(result.plan.pieces),
            "rolls": int(result.plan.pools["rolls"].sum()),
            "not_priced": result.source.left_out,
            **{f"{s}s": severity.count(s) for s in ("error", "warning", "note")},
        },
        "totals": dict(summary(result))
        | {name: str(value) for name, value in result.price.totals.items()},
        "assumed": assumed.in_words(result.bid, result.price.lines),
        "cautions": list(result.takeoff.cautions),
        "seconds": result.seconds,
    }
    (folder / "run.json").write_text(
        json.dumps(content, indent=1, ensure_ascii=False) + "\n", encoding="utf-8"
    )
