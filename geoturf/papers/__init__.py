"""Papers that leave the house: one PDF a reader, made of what the report's tables hold.

names    long ones, shortened and told once in full
letters  how wide a text is on paper
sender   who papers are from and to
crew     the data of the crew's papers
press    from plain data to a PDF; ``type/`` has one template a paper, ``type/house.typ`` what all
         have in common

A paper is a record here: where it goes, its template, what it needs to be there, and the function
that gives its data. The functions look at the result alone and give what JSON can hold, numbers
already as the text that is printed, in the bid's units.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import shapely

from geoturf.errors import BidError
from geoturf.model import Finding, Result
from geoturf.papers import council, names, order, portfolio, press, proposal, sender
from geoturf.papers.crew import cut_list, labels, load_list, sheets

if TYPE_CHECKING:
    from geoturf.bid import Bid
    from geoturf.engine import Engine

Data = Mapping[str, Any]


@dataclass(frozen=True)
class Paper:
    """``file`` stands below the report's folder; its first part says for whom the paper is."""

    file: str
    template: str
    data: Callable[[Result], Data]
    has: Callable[[Result], bool] = lambda result: True
    short: bool = False  # whatever the bid's size

    def told(self, result: Result) -> Data:
        """Its data as they are printed."""
        return names.shortened(self.data(result), result)

    @property
    def reader(self) -> str:
        return self.file.partition("/")[0].removesuffix(".pdf")


def _laid(result: Result) -> bool:
    """Whether all turf is laid: none is ordered or cut by an estimate."""
    return result.any_turf and result.plan.estimate is None


PAPERS: tuple[Paper, ...] = (
    Paper("council.pdf", "council", council.data, lambda result: result.water is not None, True),
    Paper("portfolio.pdf", "portfolio", portfolio.data),
    Paper("client/proposal.pdf", "proposal", proposal.data, lambda result: result.any_turf),
    Paper("buyer/order.pdf", "order", order.data, _laid),
    Paper("crew/cut_list.pdf", "crew_cut_list", cut_list.data, _laid),
    Paper("crew/labels.pdf", "crew_labels", labels.data, _laid),
    Paper("crew/load_list.pdf", "crew_load_list", load_list.data, _laid),
    Paper("crew/sheets.pdf", "crew_sheets", sheets.data, _laid),
)
_LONGEST = "crew/sheets.pdf"
MANY = 200  # sites beyond which papers are printed only where they are asked for
MANY_PIECES = 5_000  # and pieces: some 170 sheets of labels
MANY_POINTS = 20_000  # and points of outlines, which each drawing of a piece looks through
READERS = tuple(dict.fromkeys(paper.reader for paper in PAPERS))


def asked(which: str | None) -> tuple[str, ...] | None:
    """The readers that ``--papers`` names, None where it is not given. Raises `BidError` on one
    that there is no paper for."""
    if which is None or which == "all":
        return None if which is None else READERS
    named = [] if which == "none" else [name.strip() for name in which.split(",")]
    unknown = [name for name in named if name not in READERS]
    if unknown:
        known = ", ".join(("all", "none", *READERS))
        message = f"--papers {which}: no papers for '{unknown[0]}'; there are {known}"
        raise BidError(Finding("error", "papers", message))
    return tuple(named)


def look(bid: Bid) -> None:
    """What can be known before the work: raises `BidError` where the logo cannot be drawn."""
    if not bid.bidder.logo:
        return
    try:
        press.printed("letterhead", sender.head(bid))
    except press.Unprintable:
        raise sender.undrawable(bid) from None


def write(
    result: Result,
    folder: Path,
    readers: Iterable[str] | None,
    engine: Engine | None = None,
) -> None:
    """The papers for ``readers`` into ``folder``, as `printing` has them."""
    with printing(result, readers, engine) as put:
        put(folder)


@contextmanager
def printing(
    result: Result, readers: Iterable[str] | None, engine: Engine | None = None
) -> Iterator[Callable[[Path], None]]:
    """The papers for ``readers`` are printed while this process goes on; gives what waits for them
    and puts them into a folder. Where ``readers`` is None: all papers of a bid of at most `MANY`
    sites, `MANY_PIECES` pieces and `MANY_POINTS` points of outlines, and of a larger one those that
    are short all the same. The crew's papers of such a bid are the work of the ``engine``'s workers,
    if there are any."""
    look(result.bid)
    wanted = [paper for paper in _wanted(result, readers) if paper.has(result)]
    printer = ThreadPoolExecutor(1)  # typst lets go of the interpreter
    try:
        begun = _by_workers(result, wanted, engine)
        for paper in wanted:
            if paper.file not in begun:
                begun[paper.file] = _begun(printer, paper.template, paper.told(result))
        yield lambda folder: _put(folder, begun)
    finally:
        printer.shutdown(cancel_futures=True)


def _begun(printer: Executor, template: str, data: Data) -> Callable[[], bytes]:
    """A paper is begun; gives what waits for it. Where there is no memory for a thread it is
    printed then."""
    try:
        return printer.submit(press.printed, template, data).result
    except RuntimeError:
        return partial(press.printed, template, data)


def _by_workers(
    result: Result, wanted: Sequence[Paper], engine: Engine | None
) -> dict[str, Callable[[], bytes]]:
    """The crew's papers of a large bid are begun by workers: the sheets by one, since they take as
    long as all others. Gives what waits for each, by file."""
    if engine is None or engine.workers < 2 or not engine.started or _few(result):
        return {}
    mine = [paper.file for paper in wanted if paper.reader == "crew"]
    if not mine:
        return {}
    text = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
    out: dict[str, Callable[[], bytes]] = {}
    for files in _shared_out(mine):
        done = cache(engine.begin(_made, (text, files)))
        out |= {file: partial(_of, done, file) for file in files}
    return out


def _shared_out(files: Sequence[str]) -> list[tuple[str, ...]]:
    long = tuple(file for file in files if file == _LONGEST)
    others = tuple(file for file in files if file != _LONGEST)
    return [some for some in (long, others) if some]


def _made(item: tuple[bytes, Sequence[str]]) -> dict[str, bytes]:
    """Papers of a pickled result, by file."""
    text, files = item
    result: Result = pickle.loads(text)
    mine = (paper for paper in PAPERS if paper.file in files)
    return {paper.file: press.printed(paper.template, paper.told(result)) for paper in mine}


def _of(done: Callable[[], dict[str, bytes]], file: str) -> bytes:
    return done()[file]


def _put(folder: Path, printed: Mapping[str, Callable[[], bytes]]) -> None:
    for file, pdf in printed.items():
        path = folder / file
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(pdf())


def _wanted(result: Result, readers: Iterable[str] | None) -> list[Paper]:
    if readers is None:
        few = _few(result)
        return [paper for paper in PAPERS if few or paper.short]
    named = set(readers)
    return [paper for paper in PAPERS if paper.reader in named]


def _few(result: Result) -> bool:
    sites = result.ground.areas["site"].nunique()
    pieces = len(result.plan.pieces)
    points = shapely.get_num_coordinates(result.ground.areas["laid"].to_numpy(object)).sum()
    return bool(sites <= MANY and pieces <= MANY_PIECES and points <= MANY_POINTS)
