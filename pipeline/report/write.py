"""Write every report: change plans, summaries, region reviews, audits, back-outs."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby, islice
from operator import attrgetter
from pathlib import Path

from pipeline.database import Database
from pipeline.effect.gather import CHAIN, Rollout
from pipeline.errors import NothingToProve, QuietaisleError, StorageFailed, UnknownSelection
from pipeline.fresh import fingerprint, program
from pipeline.originals import Original, keep_originals
from pipeline.progress import Progress, mapped
from pipeline.records import BackOutStep, Selection, Written
from pipeline.report.files import (
    CHAIN_FOLDER,
    ReportFolders,
    WrittenFiles,
    WrittenFolder,
    put_file,
    remove_file,
    report_folders,
    safe_names,
    stamps,
)
from pipeline.report.quarter.answers import sample_workbook
from pipeline.report.quarter.content import verdict
from pipeline.report.quarter.gather import quarter_content
from pipeline.report.quarter.pages import quarter_pdf
from pipeline.report.quarter.sample import outcome_sentence, sample_outcomes
from pipeline.report.quarter.workbook import quarter_workbook
from pipeline.report.region.content import RegionContent
from pipeline.report.region.gather import region_contents
from pipeline.report.region.pages import FileLinks, links_of, region_pdf
from pipeline.report.region.proof import sight
from pipeline.report.region.workbook import region_workbook
from pipeline.report.store.content import CAUTIONS, StoreContent
from pipeline.report.store.forms import back_out_workbook
from pipeline.report.store.gather import back_out_content, content_marks, store_contents
from pipeline.report.store.pages import summary
from pipeline.report.store.workbook import workbook
from pipeline.settings import Settings
from pipeline.wording import Wording, common_wording, wording

WORKBOOK, SUMMARY = STORE_FILES = ("change-plan.xlsx", "summary.pdf")
REVIEWS = ("review.xlsx", "review.pdf")
STORE_CALENDAR = "changes.ics"
_OURS = b"PRODID:-//quietaisle//"
_AUDIT = "audit"
_NOTED = 64  # stores written before they are noted together

Failures = tuple[tuple[str, str], ...]
"""The stores or regions whose files could not be written, each with a sentence saying why."""


def report(  # noqa: PLR0913 - what to write, where, and whether it has changed
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    progress: Progress,
    *,
    stands: bool = False,
) -> tuple[tuple[Written, ...], Failures]:
    """Write the workbook and summary of every selected store.

    `stands` says that no content has changed since the files were written; then only files that
    are missing or edited are written again.

    Returns:
        The stores whose files are in place, new or unchanged, and the failures.

    Raises:
        UnknownSelection: a selected store or region is not in the database.
    """
    folders = report_folders(database, out)
    written = WrittenFiles(database)
    places = _places(folders, selection)
    homes = {store: place.workbook.parent for store, place in places.items()}
    doubted = [s for s in homes if not (stands and written.untouched(homes[s], STORE_FILES))]
    marks = content_marks(database, doubted, settings.approvers)
    due = [s for s in doubted if not written.current(homes[s], marks[s], STORE_FILES)]
    jobs = (
        _StoreJob(content, homes[content.store.store], marks[content.store.store])
        for content in store_contents(database, due, settings.approvers)
    )
    outcomes = progress.over(mapped(_write_store, jobs, len(due)), "report", len(due))
    failed: dict[str, str] = {}
    while some := list(islice(outcomes, _NOTED)):
        written.keep([one for one in some if isinstance(one, WrittenFolder)])
        failed.update(one for one in some if not isinstance(one, WrittenFolder))
    kept = tuple(place for store, place in places.items() if store not in failed)
    return kept, tuple(failed.items())


def _places(folders: ReportFolders, selection: Selection) -> dict[str, Written]:
    """Return where the files of each selected store belong."""
    for kind, asked, known in (
        ("store", selection.stores, {one.store for one in folders.listed}),
        ("region", selection.regions, {one.region for one in folders.listed}),
    ):
        for name in asked:
            if name not in known:
                raise UnknownSelection(kind, name, sorted(known))
    places = {}
    for one in folders.listed:
        if selection.takes(one.store, one.region):
            home = folders.of_store(one.store, one.region)
            files = home / WORKBOOK, home / SUMMARY
            places[one.store] = Written(one.store, one.name, one.region, *files)
    return places


@dataclass(frozen=True, slots=True)
class _StoreJob:
    """A store to write, where, and the fingerprint of its content."""

    content: StoreContent
    home: Path
    mark: str


def _write_store(job: _StoreJob) -> WrittenFolder | tuple[str, str]:
    """Write a store's files; a failure never stops other stores, unless nothing can be written."""
    store = job.content.store.store
    try:
        files = (workbook(job.content), summary(job.content))  # make both before writing one
        for name, octets in zip(STORE_FILES, files, strict=True):
            put_file(job.home / name, octets)
    except StorageFailed:
        raise
    except QuietaisleError as error:
        return store, str(error)
    except Exception as error:  # noqa: BLE001 - as the docstring says
        return store, _not_laid_out("report", "store", store, error)
    return WrittenFolder(store, job.home, job.mark, stamps(job.home, STORE_FILES))


def _not_laid_out(what: str, of: str, name: str, error: Exception) -> str:
    """Return the sentence for a report or review that our own fault kept from being made."""
    return (
        f"The {what} of {of} {name} could not be laid out "
        f"({type(error).__name__}: {error}); please report this with the {of}'s exports."
    )


@dataclass(frozen=True, slots=True)
class _DueReview:
    """A review to write, the links in it, and the fingerprint of its content."""

    content: RegionContent
    links: tuple[FileLinks, ...]
    mark: str


def reviews(
    database: Database,
    settings: Settings,
    out: Path,
    selection: Selection,
    *,
    stands: bool = False,
) -> tuple[tuple[Path, ...], Failures]:
    """Write `<out>/<region>/review.pdf` and `.xlsx` of the regions a selection touches.

    Where it takes every region, and there are several, the chain's stands in `<out>/chain`.
    Call it after the audit. `stands` says that no content has changed since the files were
    written.

    Returns:
        The files in place, new or unchanged, and the failures.
    """
    folders = report_folders(database, out)
    regions = {one.region for one in folders.listed if selection.takes(one.store, one.region)}
    written = WrittenFiles(database)
    homes = {region: folders.of_region(region) for region in sorted(regions)}
    if len(regions) > 1 and regions == {one.region for one in folders.listed}:
        homes[CHAIN] = out / CHAIN_FOLDER
    doubted = [r for r in homes if not (stands and written.untouched(homes[r], REVIEWS))]
    due = []
    for content in region_contents(database, settings, doubted) if doubted else ():
        rows = () if content.parts else content.stores
        stores = (folders.stores[line.store] for line in rows)
        links = tuple(links_of(folder, WORKBOOK, SUMMARY) for folder in stores)
        mark = fingerprint(program(), repr(content), repr(links))
        if not written.current(homes[content.region], mark, REVIEWS):
            due.append(_DueReview(content, links, mark))
    failed = dict(_put_reviews(due, homes, written))
    kept = [home for region, home in homes.items() if region not in failed]
    return tuple(home / name for home in kept for name in REVIEWS), tuple(failed.items())


def _put_reviews(
    due: Sequence[_DueReview], homes: Mapping[str, Path], written: WrittenFiles
) -> Iterator[tuple[str, str]]:
    """Make reviews and put them in place; yield the regions where that failed, each with why."""
    jobs = [(review, name) for name in REVIEWS for review in due]  # workbooks, the longest, first
    keys = [(review.content.region, name) for review, name in jobs]
    made = dict(zip(keys, mapped(_make_review, jobs, len(jobs)), strict=True))
    for review in due:
        region = review.content.region
        home = homes[region]
        files = {name: made[region, name] for name in REVIEWS}
        octets = {name: each for name, each in files.items() if isinstance(each, bytes)}
        if len(octets) < len(files):
            yield region, next(each for each in files.values() if isinstance(each, str))
            continue
        try:
            for name, each in octets.items():
                put_file(home / name, each)
        except StorageFailed:
            raise
        except QuietaisleError as error:
            yield region, str(error)
        else:
            written.keep([WrittenFolder(region, home, review.mark, stamps(home, REVIEWS))])


def _make_review(job: tuple[_DueReview, str]) -> bytes | str:
    """Return one file of a review, or why it failed; a failure never stops other files."""
    review, name = job
    words = wording(review.content.country)
    try:
        if name == REVIEWS[0]:
            return region_workbook(review.content, review.links, words)
        return region_pdf(review.content, review.links, words)
    except Exception as error:  # noqa: BLE001 - as the docstring says
        return _not_laid_out("review", "region", review.content.region, error)


def write_audit(
    database: Database, out: Path, quarter: str, approvers: tuple[str, ...] = ()
) -> tuple[Path, Path]:
    """Write `<out>/audit/<quarter>.xlsx` and `.pdf` of an audited quarter, such as 2026-Q3.

    They are those of its latest edition. Every edition is kept as it was first written; those
    before stand beside the latest as `<quarter>-edition-<n>`, octet by octet.

    It is in the language of its stores if they have one in common; else the words are English and
    days are written 2026-09-30.

    Returns:
        The workbook and the PDF.

    Raises:
        UnknownSelection: the quarter was not audited.
        OutputNotWritable: a file cannot be written.
    """
    words = common_wording(database.column("report", "countries"))
    content = replace(quarter_content(database, quarter, words.language), approvers=approvers)
    kept = {one.file: one.octets for one in _audits_kept(database, quarter)}
    named = quarter if content.edition is None else f"{quarter}-edition-{content.edition}"
    makers = {"xlsx": quarter_workbook, "pdf": quarter_pdf}
    made = {
        kind: kept.get(f"{named}.{kind}") or make(content, words) for kind, make in makers.items()
    }
    if content.edition is not None:
        originals = [Original(f"{named}.{kind}", octets) for kind, octets in made.items()]
        with database.transaction():
            keep_originals(database, "audit", originals)
    for file, octets in kept.items():
        if not file.startswith(f"{named}."):
            put_file(out / _AUDIT / file, octets)
    book, pages = (out / _AUDIT / f"{quarter}.{kind}" for kind in makers)
    put_file(book, made["xlsx"])
    put_file(pages, made["pdf"])
    return book, pages


def _audits_kept(database: Database, quarter: str) -> list[Original]:
    return database.records(Original, "report", "audits_kept", {"quarter": quarter})


def audit_verdict(database: Database, quarter: str, approvers: tuple[str, ...] = ()) -> str:
    """Return in English what the pages of an audited quarter ask first."""
    content = replace(quarter_content(database, quarter), approvers=approvers)
    return verdict(content, wording(None))


def write_sample(database: Database, out: Path, sample: str) -> Path:
    """Write `<out>/audit/sample-<name>.xlsx`, the sheet an auditor takes along; return its path.

    Raises:
        OutputNotWritable: the file cannot be written.
    """
    words = common_wording(database.column("report", "countries"))
    path = out / _AUDIT / f"sample-{sample}.xlsx"
    put_file(path, sample_workbook(database, sample, words))
    return path


@dataclass(frozen=True, slots=True)
class OriginalCell:
    """A decision or result of a change, and where it stands in the workbook it came in."""

    state: str
    by: str
    at: date
    file: str
    sha256: str
    cell: str
    by_written: str
    at_written: str
    octets: bytes


def write_originals(database: Database, folder: Path, change: str) -> Iterator[str]:
    """Write the workbooks that a change rests on, named by their digests; yield where to look.

    Raises:
        NothingToProve: none came in a workbook that is kept.
        OutputNotWritable: a file cannot be written.
    """
    found = database.records(OriginalCell, "report", "originals", {"change": change})
    if not found:
        raise NothingToProve(f"change {change} in a workbook that is kept")
    for one in found:
        path = folder / f"{one.sha256}.xlsx"
        put_file(path, one.octets)
        yield (
            f"{one.state} by {one.by} on {one.at}: '{one.by_written}', '{one.at_written}' in "
            f"{one.cell} of {one.file}, kept as {path}"
        )


def samples_told(database: Database, samples: Collection[str]) -> tuple[str, ...]:
    """Return in English what some samples have shown so far."""
    outcomes = sample_outcomes(database, date.min, date.max)
    chosen = [one for one in outcomes if one.sample in samples]
    return tuple(outcome_sentence(one, wording(None)) for one in chosen)


def foresight(database: Database, settings: Settings) -> tuple[str, ...]:
    """Return in English what the waves laid out would show, by region and for the chain."""
    waves = [wave.name for wave in settings.schedule.waves]
    rollout, words = Rollout(database, waves, settings.limits), wording(None)
    regions = sorted({turn.region for turn in rollout.turns})
    told = [
        f"{'chain' if region == CHAIN else region}: {sight(one, words)}"
        for region in (*regions, CHAIN)
        for one in rollout.sights(region)
    ]
    if not told and rollout.turns:
        told = [words("proof.sees_unknown")]
    if settings.schedule.work.order == "benefit" and rollout.turns:
        told.append(words("proof.why.not_drawn"))
    return tuple(told)


def write_back_out(database: Database, out: Path, steps: Sequence[BackOutStep]) -> tuple[Path, ...]:
    """Write the way back of one store: a workbook for each plan it undoes, the last plan first.

    Each is written beside the store's change plan as `back-out-<plan>.xlsx`.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    folders = report_folders(database, out)
    paths: list[Path] = []
    for plan, group in groupby(steps, key=attrgetter("plan")):
        undone = list(group)
        content = back_out_content(database, undone[0].store, plan)
        home = folders.of_store(content.store.store, content.store.region)
        path = home / f"back-out-{plan}.xlsx"
        put_file(path, back_out_workbook(content, undone))
        paths.append(path)
    return tuple(paths)


def cautions(words: Wording) -> tuple[str, ...]:
    """Return the cautions for every job in a calendar, as sentences."""
    return tuple(words(f"cautions.{key}") for key in CAUTIONS)


def drop_calendars(out: Path, written: Collection[Path]) -> None:
    """Remove the program's calendar files of nights that are laid out no more."""
    for path in sorted(out.rglob("*.ics")):
        if path not in written and _OURS in path.read_bytes()[:200]:
            remove_file(path)


def place_of(
    database: Database, out: Path, region: str, store: str | None, team: str | None
) -> Path:
    """Return where a calendar file belongs: a store's with its files, a team's in its region."""
    folders = report_folders(database, out)
    if store is not None:
        return folders.of_store(store, region) / STORE_CALENDAR
    team = team or "team"
    return folders.of_region(region) / f"{safe_names([team])[team]}.ics"
