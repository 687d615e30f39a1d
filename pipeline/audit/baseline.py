"""The baseline: what is agreed of every station. Versions are added, none is ever changed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.audit.drift import StoreStory, story_of
from pipeline.audit.fields import FIELDS, STATION
from pipeline.audit.gather import store_facts
from pipeline.database import Database
from pipeline.errors import (
    ApproverUnknown,
    BaselineOutOfOrder,
    NothingToApprove,
    ReasonMissing,
    UnknownSelection,
)
from pipeline.frames import frame_of
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Approved:
    """A new version of a store's baseline: its number and how many stations it speaks of."""

    store: str
    version: int
    stations: int
    found_on: date


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the table baseline."""

    version: int
    store: str
    station: str
    field: str
    value: str | None
    approved_by: str
    approved_on: date
    reason: str
    change: str | None = None


def approve(  # noqa: PLR0913 - what is approved, by whom, why and when
    database: Database, settings: Settings, stores: Sequence[str], *, by: str, reason: str, on: date
) -> tuple[Approved, ...]:
    """Freeze the configuration of stores as agreed: as the latest export up to a day found it.

    Stations that were agreed and are not there any more are agreed to be gone.

    Args:
        database: with exports taken in.
        settings: whose approvers may do this.
        stores: at least one; all of them are approved, or none.
        by: the approver.
        reason: in words, kept with every row.
        on: the day of the run; the version holds from it on.

    Raises:
        ApproverUnknown: the rules file does not name the approver.
        ReasonMissing: the reason is blank.
        UnknownSelection: no stations export names a store.
        NothingToApprove: none does up to that day.
        BaselineOutOfOrder: a later version exists.
    """
    if by not in settings.approvers:
        raise ApproverUnknown(by, settings.approvers)
    if not reason.strip():
        raise ReasonMissing
    advance(database)
    known = [name for (name,) in database.rows("audit", "known_stores")]
    latest = {row[0]: row[1:] for row in database.rows("audit", "latest_versions")}
    stories = _stories(database, stores, on)
    rows: list[_Row] = []
    done: list[Approved] = []
    for store in sorted(set(stores)):
        if store not in known:
            raise UnknownSelection("store", store, known)
        version, last = latest.get(store, (0, None))
        if last is not None and last > on:
            raise BaselineOutOfOrder(store, on, last)
        if store not in stories or not stories[store].days:
            raise NothingToApprove(store, on)
        story = stories[store]
        fresh = [_Row(version + 1, store, *agreed, by, on, reason) for agreed in _found(story, on)]
        rows += fresh
        count = sum(row.field == FIELDS[STATION] and row.value is not None for row in fresh)
        done.append(Approved(store, version + 1, count, story.days[-1]))
    with database.transaction():
        database.insert("audit", "insert_baseline", frame_of(_Row, rows))
    return tuple(done)


def _stories(database: Database, stores: Sequence[str], on: date) -> Mapping[str, StoreStory]:
    only = stores[0] if len(stores) == 1 else None
    return {
        facts.store: story_of(facts)
        for facts in store_facts(database, on, only)
        if facts.store in stores
    }


def _found(story: StoreStory, on: date) -> Iterator[tuple[str, str, str | None]]:
    """Yield station, field and value of what the latest export lists; and who is not there."""
    for life, agreed in zip(story.lives, story.agreed, strict=True):
        row = life.seen[-1]
        gone = agreed.on(on)[STATION]
        if row is not None:
            for field, value in zip(FIELDS, row, strict=True):
                yield str(row[STATION]), field, value
        elif gone is not None:
            yield gone, FIELDS[STATION], None


def advance(database: Database) -> int:
    """Move the baseline forward by the changes verified since; return how many it moved by.

    Each change moves it once, as of the day it was verified; one backed out afterwards moves it
    back. Stations without a baseline have none to move.
    """
    before = database.rows("audit", "count_baseline")[0][0]
    with database.transaction():
        database.run("audit", "advance")
    return int(database.rows("audit", "count_baseline")[0][0] - before)
