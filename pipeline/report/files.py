"""Write the reports: one folder a store, whole files or none, nothing where nothing changed."""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pipeline.database import Database
from pipeline.errors import OutputNotWritable, QuietaisleError, UnknownSelection
from pipeline.parallel import mapped
from pipeline.progress import Progress
from pipeline.records import Selection, Written
from pipeline.report.content import StoreContent
from pipeline.report.gather import store_contents
from pipeline.report.safe_names import safe_names
from pipeline.report.summary import summary
from pipeline.report.workbook import workbook
from pipeline.settings import Settings

WORKBOOK, SUMMARY = "change-plan.xlsx", "summary.pdf"


@dataclass(frozen=True, slots=True)
class _Folders:
    """The folder of each store and region below the reports folder."""

    out: Path
    stores: Mapping[str, str]
    regions: Mapping[str, str]

    def of(self, store: str, region: str) -> Path:
        """Return the folder of one store."""
        return self.out / self.regions[region] / self.stores[store]


def report(
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    progress: Progress,
) -> tuple[tuple[Written, ...], tuple[tuple[str, str], ...]]:
    """Write workbook and summary of every store selected.

    Returns:
        What was written (or found written already), and the stores whose files could not be,
        each with the sentence why.

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
    written: list[Written] = []
    failed: list[tuple[str, str]] = []
    jobs = (
        _Job(content, folders.of(content.store.store, content.store.region))
        for content in store_contents(database, chosen, settings.approvers)
    )
    tried = mapped(_tried, jobs, len(chosen))
    for outcome in progress.over(tried, "report", len(chosen)):
        if isinstance(outcome, Written):
            written.append(outcome)
        else:
            failed.append(outcome)
    return tuple(written), tuple(failed)


def put_file(path: Path, octets: bytes) -> None:
    """Put a file in place whole; one that already says the same is left untouched.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    try:
        if path.is_file() and path.read_bytes() == octets:
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f".{path.name}.part")
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
    """One store to write, and where."""

    content: StoreContent
    folder: Path


def _tried(job: _Job) -> Written | tuple[str, str]:
    """Write a store's files; whatever is wrong with one store, the rest finish."""
    store = job.content.store
    try:
        for name, octets in _files(job.content):
            put_file(job.folder / name, octets)
    except QuietaisleError as error:
        return store.store, str(error)
    except Exception as error:  # noqa: BLE001 - as the docstring says
        return store.store, _broken(job.content, error)
    return Written(
        store.store, store.name, store.region, job.folder / WORKBOOK, job.folder / SUMMARY
    )


def _files(content: StoreContent) -> Iterator[tuple[str, bytes]]:
    yield WORKBOOK, workbook(content)
    yield SUMMARY, summary(content)


def _broken(content: StoreContent, error: Exception) -> str:
    return (
        f"The report of store {content.store.store} could not be laid out "
        f"({type(error).__name__}: {error}); please report this with the store's exports."
    )
