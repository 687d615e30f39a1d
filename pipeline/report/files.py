"""Write the reports: one folder a store, whole files or none, nothing where nothing changed."""

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from pipeline.database import Database
from pipeline.errors import OutputNotWritable, QuietaisleError, UnknownSelection
from pipeline.parallel import mapped
from pipeline.progress import Progress
from pipeline.records import Selection, Written
from pipeline.report.content import StoreContent
from pipeline.report.gather import content_marks, store_contents
from pipeline.report.safe_names import safe_names
from pipeline.report.standing import FILES, SUMMARY, WORKBOOK, Done, Standing, part_of, stamps
from pipeline.report.summary import summary
from pipeline.report.workbook import workbook
from pipeline.settings import Settings

KEPT = 64  # stores written between one note of it and the next


@dataclass(frozen=True, slots=True)
class _Folders:
    """The folder of each store and region below the reports folder."""

    out: Path
    stores: Mapping[str, str]
    regions: Mapping[str, str]

    def of(self, store: str, region: str) -> Path:
        """Return the folder of one store."""
        return self.out / self.regions[region] / self.stores[store]


@dataclass(frozen=True, slots=True)
class Reports:
    """Reports being written: where each store's belong, and what becomes of those that are due."""

    places: Mapping[str, Written]
    standing: Standing
    tried: Iterator[Done | tuple[str, str]]

    def finish(self) -> tuple[tuple[Written, ...], tuple[tuple[str, str], ...]]:
        """Write what is still to be written.

        Returns:
            What was written (or found written already), and the stores whose files could not be,
            each with the sentence why.
        """
        failed = dict(_noted(self.tried, self.standing))
        written = tuple(place for store, place in self.places.items() if store not in failed)
        return written, tuple(failed.items())


def report(  # noqa: PLR0913 - what to write, where, and what stands of it
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    progress: Progress,
    *,
    stands: bool = False,
) -> Reports:
    """Begin to write workbook and summary of every store selected.

    `stands`: what the files would say has not changed since they were written; only files that
    are not in their place as they were are made again.

    Raises:
        UnknownSelection: a store or region selected is not in the database.
    """
    known = database.rows("report", "stores")
    folders = _Folders(
        out,
        safe_names([store for store, _, _ in known]),
        safe_names([region for _, _, region in known]),
    )
    chosen = _chosen(known, selection)
    standing = Standing(database)
    places = _places(known, frozenset(chosen), folders)
    homes = {store: place.workbook.parent for store, place in places.items()}
    doubted = [s for s in chosen if not (stands and standing.untouched(homes[s], FILES))]
    marks = content_marks(database, doubted, settings.approvers)
    due = [s for s in doubted if not standing.holds(homes[s], marks[s], FILES)]
    jobs = (
        _Job(content, homes[content.store.store], marks[content.store.store])
        for content in store_contents(database, due, settings.approvers)
    )
    tried = progress.over(mapped(_tried, jobs, len(due)), "report", len(due))
    return Reports(places, standing, tried)


def _places(
    known: Sequence[tuple[str, str, str]], chosen: frozenset[str], folders: _Folders
) -> dict[str, Written]:
    """Return where the files of each chosen store belong, in the order of `known`."""
    places = {}
    for store, name, region in known:
        if store in chosen:
            folder = folders.of(store, region)
            places[store] = Written(store, name, region, folder / WORKBOOK, folder / SUMMARY)
    return places


def _noted(
    tried: Iterator[Done | tuple[str, str]], standing: Standing
) -> Iterator[tuple[str, str]]:
    """Note the stores written, some at a time; yield those that could not be, each with why."""
    while some := list(islice(tried, KEPT)):
        standing.keep([done for done in some if isinstance(done, Done)])
        yield from (outcome for outcome in some if not isinstance(outcome, Done))


def put_file(path: Path, octets: bytes) -> None:
    """Put a file in place whole; one that already says the same is left untouched.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    try:
        if path.is_file() and path.read_bytes() == octets:
            part_of(path).unlink(missing_ok=True)  # of a run that broke off
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        part = part_of(path)
        part.write_bytes(octets)
        os.replace(part, path)  # noqa: PTH105 - the one call that swaps files at once everywhere
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error


def remove_file(path: Path) -> None:
    """Take a file away that speaks of nothing any more.

    Raises:
        OutputNotWritable: it is there and cannot be removed.
    """
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise OutputNotWritable(path, error.strerror or str(error)) from error


def _chosen(known: list[tuple[str, str, str]], selection: Selection) -> list[str]:
    _refuse_unknown("store", selection.stores, sorted({store for store, _, _ in known}))
    _refuse_unknown("region", selection.regions, sorted({region for _, _, region in known}))
    return [store for store, _, region in known if selection.takes(store, region)]


def _refuse_unknown(kind: str, asked: tuple[str, ...], known: list[str]) -> None:
    for name in asked:
        if name not in known:
            raise UnknownSelection(kind, name, known)


@dataclass(frozen=True, slots=True)
class _Job:
    """One store to write, where, and the fingerprint of what it says."""

    content: StoreContent
    folder: Path
    mark: str


def _tried(job: _Job) -> Done | tuple[str, str]:
    """Write a store's files; whatever is wrong with one store, the rest finish."""
    store = job.content.store
    try:
        for name, octets in list(_files(job.content)):  # both are made before one is put down
            put_file(job.folder / name, octets)
    except QuietaisleError as error:
        return store.store, str(error)
    except Exception as error:  # noqa: BLE001 - as the docstring says
        return store.store, not_laid_out("report", "store", store.store, error)
    return Done(store.store, job.folder, job.mark, stamps(job.folder, FILES))


def _files(content: StoreContent) -> Iterator[tuple[str, bytes]]:
    yield WORKBOOK, workbook(content)
    yield SUMMARY, summary(content)


def not_laid_out(what: str, of: str, name: str, error: Exception) -> str:
    """Return the sentence for a report or review that a fault of ours kept from being made."""
    return (
        f"The {what} of {of} {name} could not be laid out "
        f"({type(error).__name__}: {error}); please report this with the {of}'s exports."
    )
