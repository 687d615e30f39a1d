"""A whole run, read as a table of contents: exports in, files for every store out."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date
from hashlib import sha256
from pathlib import Path

from pipeline import __version__
from pipeline.audit.audit import audit
from pipeline.audit.baseline import keep
from pipeline.audit.calendar import quarter_of
from pipeline.changes.register import propose
from pipeline.changes.verify import verify
from pipeline.check.rules import check
from pipeline.database import Database, open_database
from pipeline.errors import FolderMissing, NothingToRead, UnknownSelection
from pipeline.frames import frame_of
from pipeline.ingest.load import ingest
from pipeline.parallel import foresee, helped
from pipeline.plan.stores import plan
from pipeline.progress import Progress
from pipeline.records import (
    Exemption,
    ExportOutcome,
    RunSummary,
    Selection,
    Severity,
)
from pipeline.report.files import report
from pipeline.report.quarantine import write_quarantine
from pipeline.report.region_files import reviews
from pipeline.settings import Settings, load_settings, settings_from
from pipeline.settled import own_rules, settle, settled, unsettle
from pipeline.survey.evidence import survey

RULES_BESIDE_EXPORTS = "rules.toml"


@dataclass(frozen=True, slots=True)
class Request:
    """What a run was asked for. `as_of` None: the newest day in the exports."""

    exports: Path | None
    database: Path
    out: Path
    rules: Path | None
    rules_folder: Path | None
    as_of: date | None
    selection: Selection


@dataclass(frozen=True, slots=True)
class _Setting:
    name: str
    value: float


@dataclass(frozen=True, slots=True)
class _Text:
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class _Permitted:
    store: str
    channel: int


def run(request: Request, progress: Progress) -> RunSummary:
    """Take the exports in, judge and plan every store, and write its files.

    Without exports it works on what the database holds.

    Raises:
        QuietaisleError: the run cannot be done; the sentence says why.
    """
    with session(request) as (database, settings):
        outcomes = take_in(database, request, settings, progress)
        rules = own_rules(request.rules_folder)  # before they are read: they may change meanwhile
        judge(database, request, settings, progress)
        summary = write_out(database, request, settings, progress)
        if request.selection == Selection() and not summary.unwritten:
            settle(database, request.out, rules)
        return replace(summary, outcomes=outcomes)


def write_out(
    database: Database, request: Request, settings: Settings, progress: Progress
) -> RunSummary:
    """Write every file of a run that has been judged, and say what it came to."""
    stands = _stands(database, request)
    if not stands:
        unsettle(database)
    where = (request.out, request.selection)
    with progress.during("report"):  # begun; what this process has to do of it comes last
        reports = report(database, settings, *where, progress, stands=stands)
    try:
        summary = summarise(database, request)
        with progress.during("audit"):  # what the reviews say is not as agreed
            if not stands:
                audit(database, quarter_of(summary.as_of), progress)
        with progress.during("reviews"):
            begun = reviews(database, settings, *where, stands=stands)
    except Exception:
        reports.finish()  # whatever becomes of the reviews, the stores have their files
        raise
    with progress.during("report"):
        written, unwritten = reports.finish()
    with progress.during("reviews"):
        reviewed, unreviewed = begun.finish()
    return replace(
        summary,
        written=written,
        unwritten=(*unwritten, *unreviewed),
        reviews=reviewed,
        quarantine=write_quarantine(database, request.out),
    )


@contextmanager
def session(request: Request) -> Iterator[tuple[Database, Settings]]:
    """Open the database with the rules to go by.

    Those named come first, then rules.toml beside the exports; a request without exports goes by
    the rules of the last run.
    """
    if request.exports is not None or request.rules is not None:
        settings = settings_of(request)
        with open_database(request.database) as database, helped():
            yield database, settings
        return
    with open_database(request.database) as database, helped():
        kept = database.rows("run", "rules_kept")
        yield database, settings_from(kept[0][0]) if kept else load_settings()


def settings_of(request: Request) -> Settings:
    """Return the rules: those named, else rules.toml beside the exports, else the defaults."""
    if request.rules is not None or request.exports is None:
        return load_settings(request.rules)
    beside = request.exports / RULES_BESIDE_EXPORTS
    return load_settings(beside if beside.is_file() else None)


def take_in(
    database: Database, request: Request, settings: Settings, progress: Progress
) -> tuple[ExportOutcome, ...]:
    """Ingest the folder of exports; a request without one works on what is in the database."""
    if request.exports is None:
        return ()
    if not request.exports.is_dir():
        raise FolderMissing(request.exports)
    with progress.during("ingest"):
        return ingest(database, request.exports, settings, progress)


def judge(database: Database, request: Request, settings: Settings, progress: Progress) -> None:
    """Survey every store as of the run's date, verify its changes, plan anew and check.

    Where nothing has happened since the last whole run, all of that stands.
    """
    with progress.during("start"):
        start_run(database, request, settings)
        if _stands(database, request):
            return
        unsettle(database)
    foresee(len(database.rows("run", "names")), plan, report, reviews)
    with progress.during("survey"):
        survey(database, settings)
    with progress.during("verify"):  # reads what the survey made of scans since each change
        verify(database, settings)
    with progress.during("plan"):
        plan(database, settings, progress)
        # What people had agreed on holds a station; where it lapsed, the plan is free again.
        while any(proposed.freed for proposed in propose(database, settings)):
            plan(database, settings, progress)
    with progress.during("check"):
        check(database, settings, request.rules_folder)
    keep(database)  # what later audits need to know of this run


def _stands(database: Database, request: Request) -> bool:
    """Say whether a run of the request would come to what stands already."""
    folder = request.rules_folder
    if folder is not None and not folder.is_dir():
        return False
    return settled(database, request.out, own_rules(folder))


def start_run(database: Database, request: Request, settings: Settings) -> None:
    """Set the day, the limits and the exceptions that this run speaks of.

    The run's name is made from its inputs, so that the same inputs are the same run.

    Raises:
        NothingToRead: there is no store to speak of.
        UnknownSelection: a store or region was asked for that does not exist.
    """
    as_of = request.as_of or database.rows("run", "newest_day")[0][0]
    if as_of is None:
        raise NothingToRead(request.exports or request.database)
    name = _run_name(database, as_of, settings)
    with database.transaction():
        if [run for run, _ in database.rows("run", "this_run")] != [name]:
            unsettle(database)
        for table in ("setting", "setting_text", "permitted_channel", "exception", "this_run"):
            database.run("run", f"clear_{table}")
        limits = [_Setting(key, value) for key, value in settings.limits.items()]
        limits.append(_Setting("minutes_per_move", settings.schedule.work.minutes_per_move))
        database.insert("run", "insert_setting", frame_of(_Setting, limits))
        database.insert("run", "insert_setting_text", frame_of(_Text, _texts(settings)))
        database.insert("run", "insert_exception", frame_of(Exemption, settings.exceptions))
        database.run("run", "insert_this_run", {"run": name, "as_of": as_of})
        database.run("run", "clear_rules_kept")
        database.run("run", "insert_rules_kept", {"text": settings.rules})
        database.run("run", "insert_run", {"run": name, "as_of": as_of, "version": __version__})
        permitted = [
            _Permitted(store, channel)
            for store, region, store_type in database.rows("run", "stores")
            for channel in settings.channels.of(store, region, store_type)
        ]
        database.insert("run", "insert_permitted_channel", frame_of(_Permitted, permitted))
    _check_selection(database, request)


def _run_name(database: Database, as_of: date, settings: Settings) -> str:
    contents = [content for (content,) in database.rows("run", "taken_files")]
    inputs = "\n".join([__version__, as_of.isoformat(), settings.text, *contents])
    return sha256(inputs.encode()).hexdigest()[:12]


def _texts(settings: Settings) -> list[_Text]:
    firmware = settings.firmware_standard
    return [] if firmware is None else [_Text("firmware_standard", firmware)]


def _check_selection(database: Database, request: Request) -> None:
    names = database.rows("run", "names")
    if not names:
        raise NothingToRead(request.exports or request.database)
    stores = [store for store, _ in names]
    regions = sorted({region for _, region in names})
    for kind, asked, known in (
        ("store", request.selection.stores, stores),
        ("region", request.selection.regions, regions),
    ):
        for name in asked:
            if name not in known:
                raise UnknownSelection(kind, name, known)


def summarise(database: Database, request: Request) -> RunSummary:
    """Return what the run came to, files apart."""
    name, as_of = database.rows("run", "this_run")[0]
    figures = database.rows("run", "figures")[0]
    stores, stations, moves, stores_with_moves, clear_now, clear_planned = figures
    standing, excepted = _findings(database)
    return RunSummary(
        run=name,
        as_of=as_of,
        outcomes=(),
        stores=stores,
        stations=stations,
        findings=standing,
        excepted=excepted,
        moves=moves,
        stores_with_moves=stores_with_moves,
        clear_air_now=clear_now,
        clear_air_planned=clear_planned,
        unplanned=tuple((store, why) for store, why in database.rows("run", "unplanned")),
        unwritten=(),
        written=(),
        reviews=(),
        left_aside=tuple((file, names) for file, names in database.rows("run", "left_aside")),
        quarantine=None,
        out=request.out,
        database=request.database,
    )


def _findings(database: Database) -> tuple[Mapping[Severity, int], int]:
    rows = database.rows("run", "findings")
    found = {severity: standing for severity, standing, _ in rows}
    counts = {severity: found.get(severity.value, 0) for severity in Severity}
    return counts, sum(excepted for _, _, excepted in rows)
