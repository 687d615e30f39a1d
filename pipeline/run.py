"""A run as a table of contents: exports in; then every step in order; files for every store out."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass, field, replace
from datetime import date, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from pipeline import __version__
from pipeline.audit.audit import audit
from pipeline.audit.baseline import keep
from pipeline.audit.records import quarter_of
from pipeline.changes.register import propose
from pipeline.changes.states import PROGRAM
from pipeline.changes.verify import verify
from pipeline.check.rules import bind, check
from pipeline.database import Database, open_database
from pipeline.errors import FolderMissing, NoStores, NothingToRead, UnknownSelection
from pipeline.fresh import forget_whole_run, keep_whole_run, own_rules, whole_run_is_fresh
from pipeline.ingest.load import ingest
from pipeline.ingest.notation import FolderTerms
from pipeline.match.match import match, new_keys
from pipeline.plan.first import set_first
from pipeline.plan.stores import plan
from pipeline.progress import Progress, helped
from pipeline.proof.seal import seal
from pipeline.records import (
    KeysLeft,
    KeysTaken,
    LeftAside,
    RunSummary,
    Selection,
    Severity,
    StorePlace,
)
from pipeline.report.quarantine import write_quarantine
from pipeline.report.write import report, reviews
from pipeline.settings import Settings, load_settings, settings_from
from pipeline.survey.evidence import survey
from pipeline.tables.run import (
    Exemption,
    PermittedChannel,
    RulesKept,
    Setting,
    SettingText,
    StationStatus,
    ThisRun,
)
from pipeline.tables.taken import ExportFile

RULES_BESIDE_EXPORTS = "rules.toml"
# What most statements read: of the lists, which stand once a run has begun; and of reports.
_LISTED = ("store_now", "station_now")
_TOLD = (*_LISTED, "station_in_plan", "station_housed", "change_story", "clear_air_now")
_MADE_ON = date(2026, 11, 26)  # a clock that shows an earlier day is wrong


def today() -> date:
    """Return the day by this machine's clock, or that of this program if the clock is behind it."""
    return max(_MADE_ON, datetime.now().astimezone().date())


@dataclass(frozen=True, slots=True)
class Request:
    """What a run was asked for. `as_of` None: the newest day in the exports.

    `asked_on` is the day by the machine's clock, read once: a run over midnight has one day.
    """

    exports: Path | None
    database: Path
    out: Path
    rules: Path | None
    rules_folder: Path | None
    as_of: date | None
    selection: Selection
    asked_on: date = field(default_factory=lambda: today())  # noqa: PLW0108 - tests set the clock


def run(
    request: Request,
    progress: Progress,
    taken: Callable[[tuple[ExportFile, ...]], None] = lambda _: None,
) -> RunSummary:
    """Take the exports in, judge and plan every store, and write its files.

    Without exports, work on what the database holds. `taken` is told what became of the exports
    before anything else, so that a run that then cannot go on has said why.

    Raises:
        QuietaisleError: the run cannot be done; the sentence says why.
    """
    with session(request) as (database, settings):
        outcomes = take_in(database, request, settings, progress)
        taken(outcomes)
        require_readable(request, outcomes)
        rules = own_rules(request.rules_folder)  # before they are read: they may change meanwhile
        judge(database, request, settings, progress)
        summary = write_out(database, request, settings, progress)
        if request.selection == Selection() and not summary.unwritten:
            keep_whole_run(database, request.out, rules)
        kept = settings.rules != "" and rules_file_of(request) is None
        return replace(summary, outcomes=outcomes, rules_kept=kept)


def take_in(
    database: Database, request: Request, settings: Settings, progress: Progress
) -> tuple[ExportFile, ...]:
    """Ingest the folder of exports, if the request names one."""
    if request.exports is None:
        return ()
    if not request.exports.is_dir():
        raise FolderMissing(request.exports)
    with progress.during("ingest"):
        terms = FolderTerms(reports=request.out, latest=_latest(request), as_of=request.as_of)
        return ingest(database, request.exports, settings, progress, terms)


def _latest(request: Request) -> date:
    """Return the newest believable day: tomorrow, or the day asked for.

    It is only a guard against mistyped days: nothing that passes it depends on the clock.
    """
    tomorrow = request.asked_on + timedelta(days=1)
    return tomorrow if request.as_of is None else max(tomorrow, request.as_of)


def require_readable(request: Request, outcomes: Sequence[ExportFile]) -> None:
    """Do nothing where the request names no folder, or one with a table that was taken.

    Raises:
        NothingToRead: no file of the folder could be read as an export.
    """
    if request.exports is not None and all(each.kind is None for each in outcomes):
        raise NothingToRead(request.exports)


def judge(database: Database, request: Request, settings: Settings, progress: Progress) -> None:
    """Survey every store as of the run's date, verify its changes, plan, propose and check.

    Skip all of it if nothing has changed since the last whole run.
    """
    with progress.during("start"):
        start_run(database, request, settings)
        if _unchanged(database, request):
            return
        forget_whole_run(database)
        with database.transaction():
            # Only a run that judges is kept: findings belong to it, and it rests on the exports.
            database.run("run", "keep_run", {"version": __version__})
            database.run("proof", "register_exports")
            database.run("match", "keep_known")
    with database.held(*_LISTED):
        with progress.during("survey"):
            survey(database, settings)
        with progress.during("verify"):  # reads what the survey made of scans since each change
            verify(database, settings)
        with progress.during("plan"):
            bound = bind(database, settings, request.rules_folder)  # rules that the plan keeps to
            plan(database, settings, progress)
            set_first(database, settings)
            _propose(database, settings, progress)
        with progress.during("check"):
            check(database, settings, request.rules_folder, bound)
            keep(database)  # what later audits need to know of this run


def _propose(database: Database, settings: Settings, progress: Progress) -> None:
    """Enter the plans in the register; plan again where that changed what people have agreed on."""
    while any(proposed.to_replan for proposed in propose(database, settings)):
        plan(database, settings, progress)
        set_first(database, settings)


def write_out(
    database: Database, request: Request, settings: Settings, progress: Progress
) -> RunSummary:
    """Write every file of a run that has been judged, and return what it came to."""
    stands = _unchanged(database, request)
    if not stands:
        forget_whole_run(database)
    summary = summarise(database, request)
    where = (request.out, request.selection)
    with database.held(*(() if stands else _TOLD)):
        with progress.during("report"):
            written, unwritten = report(database, settings, *where, progress, stands=stands)
        with progress.during("audit"):  # before the reviews, which say what is not as agreed
            if not stands:
                audit(database, quarter_of(summary.as_of), progress)
        with progress.during("reviews"):
            reviewed, unreviewed = reviews(database, settings, *where, stands=stands)
    return replace(
        summary,
        written=written,
        unwritten=(*unwritten, *unreviewed),
        reviews=reviewed,
        quarantine=write_quarantine(database, request.out),
    )


def _unchanged(database: Database, request: Request) -> bool:
    """Say whether a run of the request would come to what the last whole run came to."""
    folder = request.rules_folder
    missing = folder is not None and not folder.is_dir()
    return not missing and whole_run_is_fresh(database, request.out, own_rules(folder))


@contextmanager
def session(request: Request) -> Iterator[tuple[Database, Settings]]:
    """Open the database with the rules to go by: those of the request, else of the last run.

    Raises:
        NoStores: there is neither a database nor a folder of exports.
    """
    if request.exports is None and not request.database.exists():
        raise NoStores(request.database)
    named = rules_file_of(request)
    settings = None if named is None else load_settings(named)
    with open_database(request.database) as database, helped():
        database.before_commit = seal
        yield database, settings or _last_settings(database)


def rules_file_of(request: Request) -> Path | None:
    """Return the rules file named, else the one beside the exports, if there is one."""
    return request.rules or (request.exports and rules_beside(request.exports))


def rules_beside(exports: Path) -> Path | None:
    """Return the rules file beside some exports, if there is one."""
    beside = exports / RULES_BESIDE_EXPORTS
    return beside if beside.is_file() else None


def _last_settings(database: Database) -> Settings:
    kept = database.value("run", "rules_kept")
    return load_settings() if kept is None else settings_from(kept)


def start_run(database: Database, request: Request, settings: Settings) -> None:
    """Set the day, the limits and the exceptions that this run speaks of.

    The run's name is made from its inputs, so that the same inputs are the same run. It covers all
    that reports print: exports, those refused too, rules, and what people decided and agreed to.

    Raises:
        NoStores: there is no store to speak of.
        UnknownSelection: a store or region was asked for that does not exist.
    """
    newest = {"latest": _latest(request)}
    as_of = request.as_of or database.value("run", "newest_day", newest)
    if as_of is None:
        raise NothingToRead(request.exports) if request.exports else NoStores(request.database)
    this = ThisRun(_run_name(database, request, as_of, settings), as_of)
    firmware = settings.firmware_standard
    match(database, as_of)
    texts = [] if firmware is None else [SettingText("firmware_standard", firmware)]
    with database.transaction():
        if [last.run for last in database.records(ThisRun, "run", "this_run")] != [this.run]:
            forget_whole_run(database)
        database.clear(Setting, SettingText, PermittedChannel, Exemption, ThisRun, RulesKept)
        database.clear(StationStatus)
        database.put(StationStatus, sorted(settings.statuses, key=astuple))
        database.put(ThisRun, [this])
        database.put(Setting, _limits(settings))
        database.put(SettingText, texts)
        database.put(Exemption, sorted(settings.exceptions, key=astuple))
        database.put(RulesKept, [RulesKept(settings.rules)])
        places = database.records(StorePlace, "run", "stores")
        database.put(PermittedChannel, _permitted(settings, places))
    if not places:
        raise NoStores(request.database)
    _check_selection(request.selection, places)


def _run_name(database: Database, request: Request, as_of: date, settings: Settings) -> str:
    inputs = [__version__, as_of.isoformat(), settings.text, own_rules(request.rules_folder)]
    for name in ("taken_files", "told_of_files"):
        inputs += ["", *database.column("run", name)]
    inputs += ["", *database.column("run", "told_by_people", {"program": PROGRAM})]
    inputs += ["", *database.column("run", "agreed_by_people")]
    inputs += ["", *database.column("run", "found_by_people")]
    return sha256("\n".join(inputs).encode()).hexdigest()[:12]


def _limits(settings: Settings) -> list[Setting]:
    work = settings.schedule.work
    each = {
        "minutes_per_move": work.minutes_per_move,
        "minutes_per_install": work.minutes_per_install,
    }
    limits = {**settings.limits, **each}
    return [Setting(name, value) for name, value in sorted(limits.items())]


def _permitted(settings: Settings, places: list[StorePlace]) -> Iterator[PermittedChannel]:
    for place in places:
        for channel in settings.channels.of(place.store, place.region, place.store_type):
            yield PermittedChannel(place.store, channel)


def _check_selection(selection: Selection, places: list[StorePlace]) -> None:
    asked = {"store": selection.stores, "region": selection.regions}
    stores = [place.store for place in places]
    known = {"store": stores, "region": sorted({place.region for place in places})}
    for kind, names in asked.items():
        for name in names:
            if name not in known[kind]:
                raise UnknownSelection(kind, name, known[kind])


def stores_of(database: Database, selection: Selection) -> list[str]:
    """Return the stores asked for, by name; all of the run where none is."""
    places = database.records(StorePlace, "run", "stores")
    return [place.store for place in places if selection.takes(place.store, place.region)]


def summarise(database: Database, request: Request) -> RunSummary:
    """Return what the run came to in the stores asked for, files apart.

    What exports say of keys and headings belongs to no selection, and is left out of one.
    """
    whole = request.selection == Selection()
    chosen = {"stores": stores_of(database, request.selection), "whole": whole}
    (figures,) = database.frame("run", "figures", chosen).iter_rows(named=True)
    standing = database.mapping("run", "standing_findings", chosen)
    return RunSummary(
        **figures,
        findings={severity: standing.get(severity.value, 0) for severity in Severity},
        unplanned=database.mapping("run", "unplanned", {"stores": chosen["stores"]}),
        left_aside=tuple(database.records(LeftAside, "run", "left_aside")) if whole else (),
        keys_taken=tuple(database.records(KeysTaken, "match", "matches")) if whole else (),
        keys_left=database.records(KeysLeft, "match", "unmatched")[0] if whole else KeysLeft(),
        new_keys=new_keys(database) if whole else (),
        out=request.out,
        database=request.database,
    )
