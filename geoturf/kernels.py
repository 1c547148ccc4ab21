"""What is compiled, made ready: on a machine's first run by all workers at once, later loaded."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from geoturf import layout, spots
from geoturf.compiled import compiling
from geoturf.engine import Engine

_MANY = 100  # areas from which workers are worth starting
Work = Callable[[], object]


def ready(engine: Engine, areas: int) -> Work:
    """What sets seams and cuts rolls is compiled, where it is not yet, and workers are started for
    many areas. Gives what waits for the rest, which the bound needs and workers go on with."""
    later = [layout.warm_losses, layout.warm_covers, layout.warm_arms, spots.warm]
    rest = _begun(engine, later) if layout.fresh() else []
    if areas >= _MANY:
        engine.prepare(_load)
    return lambda: _wait(rest)


def _begun(engine: Engine, later: Sequence[Work]) -> list[Work]:
    """Compiles what is needed at once; gives what waits for what is needed ``later``."""
    soon = [engine.begin(compiling, work) for work in _warmings()]
    rest: list[Work] = [engine.begin(compiling, work) for work in later]
    _wait(soon)
    return rest


def _wait(begun: Sequence[Work]) -> None:
    for done in begun:
        done()


def _load() -> None:
    """What a worker will need, loaded."""
    for work in _warmings():
        work()


def _warmings() -> list[Work]:
    """Longest first, so that two workers are done at about one time; what shares kernels with it
    only when these are made."""
    from geoturf.cuts.solve import warm_few, warm_many

    return [layout.warm_seams, warm_many, layout.warm_parts, warm_few]
