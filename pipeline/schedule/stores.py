"""The schedule step: every store with moves out of the database, its nights back into it."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from pipeline.database import Database
from pipeline.progress import Progress
from pipeline.records import grouped
from pipeline.schedule.calendars import Feed, Imprint, NightMove, calendar_freezes, feeds
from pipeline.schedule.draw import DRAWN, Lot, draw, places
from pipeline.schedule.records import StoreJob, WaveResult
from pipeline.schedule.schedule import schedule_stores
from pipeline.settings import Freeze, Settings
from pipeline.tables.run import ThisRun
from pipeline.tables.schedule import (
    FreezeKept,
    ScheduleProof,
    ScheduleRemark,
    UnscheduledStore,
    WaveDraw,
    WorkNight,
)
from pipeline.wording import Wording

_PAST = timedelta(days=400)  # comparisons leave the days of freezes out


def schedule(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill the tables of the schedule, and wave_taken, wave_draw, freeze_kept, verdict_rule.

    The first night is as many days as the rules say after the day of this run, or of the last
    decision or report where that is later. Nights of moves nobody has approved are
    provisional.

    Raises:
        FreezeFileUnreadable: a calendar of freezes is broken.
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    rules = settings.schedule
    hearing = database.mapping("schedule", "wifi_neighbours") if rules.wifi_neighbours else {}
    joined = database.mapping("schedule", "joined")
    groups = _groups(rules.staff, hearing, joined)
    rows = database.frame("schedule", "jobs").iter_rows(named=True)
    jobs = [StoreJob(**row, groups=groups[row["store"]]) for row in rows]
    (run,) = database.records(ThisRun, "run", "this_run")
    database.run("schedule", "forget_draws")
    draws = draw(jobs, rules, Lot(run.run, run.as_of, database.every(WaveDraw)))
    place = places(draws, [job.store for job in jobs if job.wave is None])
    tickets = {one.store: one for one in draws if rules.work.order == DRAWN}
    jobs = [
        replace(job, place=place.get(job.store, 0.0), ticket=tickets.get(job.store)) for job in jobs
    ]
    results = database.records(WaveResult, "schedule", "wave_results")
    day = database.value("schedule", "nights_after")
    first = day + timedelta(days=rules.work.first_night_after_days)
    last = first + timedelta(days=rules.work.nights)
    freezes = (*rules.freezes, *calendar_freezes(rules.calendars, first - _PAST, last))
    made = schedule_stores(jobs, rules, first, results, progress)
    with database.transaction():
        database.clear(WorkNight, ScheduleProof, ScheduleRemark, UnscheduledStore)
        database.put(WorkNight, sorted(made.placed, key=lambda one: (one.store, one.night)))
        database.put(ScheduleProof, sorted(made.proofs, key=lambda one: one.region))
        database.put(ScheduleRemark, sorted(made.remarks, key=lambda one: (one.store, one.remark)))
        database.put(UnscheduledStore, made.unplaced)
        database.run("schedule", "forget_waves")
        database.run("schedule", "keep_waves")
        database.run("schedule", "give_nights")
        database.clear(WaveDraw, FreezeKept)
        database.put(WaveDraw, draws)
        database.run("schedule", "give_tickets")
        database.put(FreezeKept, sorted({_kept(freeze) for freeze in freezes}, key=repr))
        database.run("schedule", "keep_verdict_rule")


def _kept(freeze: Freeze) -> FreezeKept:
    """Return a freeze by its days; its end is the first moment after it."""
    whole = not isinstance(freeze.ends, datetime)
    last = freeze.ends - (timedelta(days=1) if whole else timedelta(microseconds=1))
    first, last = (date(end.year, end.month, end.day) for end in (freeze.starts, last))
    return FreezeKept(freeze.region, freeze.store, first, last, freeze.reason)


def _groups(
    staff: Sequence[Sequence[str]],
    hearing: Mapping[str, Sequence[str]],
    joined: Mapping[str, Sequence[str]],
) -> Mapping[str, list[str]]:
    """Return, by store, what it shares with others: staff, Wi-Fi transmitters it hears, a wall."""
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for stores in staff:
        for store in stores:
            groups[store].append(f"shared staff ({', '.join(stores)})")
    for network, stores in hearing.items():
        for store in stores:
            groups[store].append(f"the Wi-Fi neighbour {network}")
    for joint, stores in joined.items():
        for store in stores:
            groups[store].append(f"the plan together ({joint})")
    return groups


def calendars(database: Database, cautions: Callable[[Wording], Sequence[str]]) -> tuple[Feed, ...]:
    """Return the calendar file of every store and team in the current schedule.

    Each is in the language of its region, that of most of its stores.

    Args:
        database: with the schedule made.
        cautions: returns the sentences that stand on every job, in a language.
    """
    imprint = Imprint(
        database.value("schedule", "this_day"),
        database.mapping("schedule", "plans_in_force"),
        grouped(database.records(NightMove, "schedule", "night_moves"), "store"),
        database.mapping("schedule", "region_countries"),
        cautions,
    )
    return feeds(database.records(WorkNight, "schedule", "nights"), imprint)


def write_calendars(
    database: Database, cautions: Callable[[Wording], Sequence[str]], place: Callable[[Feed], Path]
) -> tuple[Path, ...]:
    """Write the calendar files where `place` says, each complete or not at all.

    Raises:
        OSError: a file cannot be written.
    """
    return tuple(_written(feed, place(feed)) for feed in calendars(database, cautions))


def _written(feed: Feed, path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.part")
    part.write_bytes(feed.content)
    part.replace(path)
    return path
