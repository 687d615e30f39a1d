"""The schedule step: every store with moves out of the database, its nights back into it."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.database import Database
from pipeline.frames import frame_of
from pipeline.progress import Progress
from pipeline.schedule.feeds import Feed, Imprint, feeds
from pipeline.schedule.records import (
    AreaProof,
    Placement,
    Remark,
    Site,
    StoreJob,
    Unscheduled,
    WaveResult,
)
from pipeline.schedule.schedule import schedule_stores
from pipeline.settings import Settings

Row = tuple[Any, ...]
_TABLES = (
    "change_schedule",
    "schedule_proof",
    "schedule_remark",
    "unscheduled_store",
    "wave_taken",
)


@dataclass(frozen=True, slots=True)
class _Night:
    """A row of change_schedule."""

    store: str
    region: str
    night: date
    starts_at: datetime
    ends_at: datetime
    starts_local: datetime
    ends_local: datetime
    team: str
    wave: str
    provisional: bool
    moves: int
    first_position: int
    last_position: int


def schedule(database: Database, settings: Settings, progress: Progress) -> None:
    """Fill change_schedule, unscheduled_store, schedule_proof and schedule_remark.

    The first night is that many days after the day of this run as the rules say.

    Raises:
        FreezeFileUnreadable: a calendar of freezes is broken.
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    rules = settings.schedule
    rows = database.rows("schedule", "jobs")
    groups = _groups(rules.staff, _neighbours(database) if rules.wifi_neighbours else ())
    jobs = [_job(row, groups.get(row[0], ())) for row in rows]
    results = [WaveResult(*row) for row in database.rows("schedule", "wave_results")]
    first = _as_of(database) + timedelta(days=rules.work.first_night_after_days)
    made = schedule_stores(jobs, rules, first, results, progress)
    positions = {row[0]: [int(position) for position in row[7].split()] for row in rows}
    zones = {job.site.store: str(job.site.time_zone) for job in jobs}
    nights = [_night(one, positions[one.store], zones[one.store]) for one in made.placed]
    with database.transaction():
        for table in _TABLES:
            database.run("schedule", f"clear_{table}")
        database.insert("schedule", "insert_change_schedule", frame_of(_Night, nights))
        database.insert("schedule", "insert_schedule_proof", frame_of(AreaProof, made.proofs))
        database.insert("schedule", "insert_schedule_remark", frame_of(Remark, made.remarks))
        database.insert(
            "schedule", "insert_unscheduled_store", frame_of(Unscheduled, made.unplaced)
        )
        database.run("schedule", "insert_wave_taken")


def calendars(database: Database, cautions: Sequence[str]) -> tuple[Feed, ...]:
    """Return the calendar file of every store and team in the current schedule.

    Args:
        database: with the schedule made.
        cautions: sentences that stand on every job.
    """
    placed = [_placement(row) for row in database.rows("schedule", "placed")]
    plans = dict(database.rows("schedule", "plans_in_force"))
    return feeds(placed, Imprint(_as_of(database), plans, cautions))


def write_calendars(
    database: Database, cautions: Sequence[str], place: Callable[[Feed], Path]
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


def _as_of(database: Database) -> date:
    day: date = database.rows("schedule", "this_day")[0][0]
    return day


def _job(row: Row, groups: Sequence[str]) -> StoreJob:
    *site, positions, benefit, wave = row
    return StoreJob(Site(*site), len(positions.split()), benefit, tuple(groups), wave)


def _groups(
    staff: Sequence[Sequence[str]], neighbours: Sequence[tuple[str, Sequence[str]]]
) -> Mapping[str, list[str]]:
    """Return, by store, what it shares with others."""
    groups: dict[str, list[str]] = {}
    for stores in staff:
        for store in stores:
            groups.setdefault(store, []).append(f"shared staff ({', '.join(stores)})")
    for network, stores in neighbours:
        for store in stores:
            groups.setdefault(store, []).append(f"the Wi-Fi neighbour {network}")
    return groups


def _neighbours(database: Database) -> list[tuple[str, tuple[str, ...]]]:
    """Return Wi-Fi transmitters with the stores that hear them; one for the same set of stores."""
    hearing: dict[str, list[str]] = {}
    for network, store in database.rows("schedule", "wifi_neighbours"):
        hearing.setdefault(network, []).append(store)
    first: dict[tuple[str, ...], str] = {}
    for network, stores in hearing.items():
        first.setdefault(tuple(stores), network)
    return [(network, stores) for stores, network in first.items()]


def _night(one: Placement, positions: Sequence[int], zone: str) -> _Night:
    starts, ends = _local(one, zone)
    return _Night(
        store=one.store,
        region=one.region,
        night=one.evening,
        starts_at=one.starts_at.replace(tzinfo=None),
        ends_at=one.ends_at.replace(tzinfo=None),
        starts_local=starts,
        ends_local=ends,
        team=one.team,
        wave=one.wave,
        provisional=one.provisional,
        moves=one.last_move - one.first_move + 1,
        first_position=positions[one.first_move - 1],
        last_position=positions[one.last_move - 1],
    )


def _local(one: Placement, zone: str) -> Iterator[datetime]:
    return (
        at.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for at in (one.starts_at, one.ends_at)
    )


def _placement(row: Row) -> Placement:
    store, region, evening, starts_at, ends_at, team, wave, provisional, first, last = row
    return Placement(
        store=store,
        region=region,
        evening=evening,
        starts_at=starts_at.replace(tzinfo=UTC),
        ends_at=ends_at.replace(tzinfo=UTC),
        team=team,
        wave=wave,
        provisional=provisional,
        first_move=first,
        last_move=last,
    )
