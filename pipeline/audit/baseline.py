"""What is dated of every store, and the baseline: what is agreed. Versions are only ever added."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from operator import attrgetter, itemgetter

import polars as pl

from pipeline.audit.drift import StoreStory, story_of
from pipeline.audit.records import ANY, FIELDS, STATION, ChangeStory, OnFile, Snapshot, StoreFacts
from pipeline.database import Database
from pipeline.errors import (
    ApproverUnknown,
    BaselineOutOfOrder,
    NothingToApprove,
    ReasonMissing,
    UnknownSelection,
)
from pipeline.forms import APPROVE
from pipeline.originals import Original, keep_originals
from pipeline.records import grouped
from pipeline.settings import Settings
from pipeline.tables.audit import AS_FOUND, Baseline, DepartureAnswer, ExceptionFile
from pipeline.tables.changes import Change, ChangeEvent

_EXCEPTION = attrgetter("store", "rule", "subject", "reason", "approved_by", "until")


def store_facts(database: Database, last: date, store: str | None = None) -> Iterator[StoreFacts]:
    """Yield what is known of each store, or of one, from facts dated up to and including a day."""
    first_run = database.value("audit", "first_run") or date.min
    asked = {"last": last, "store": store}
    agreements = grouped(database.records(Baseline, "audit", "agreements", asked), "store")
    changes = _changes(database, last, store)
    exceptions = _exceptions(database.records(ExceptionFile, "audit", "exceptions", {"last": last}))
    listed, decided = (database.frame("audit", name, asked) for name in ("stations", "decided"))
    seen = _snapshots(listed, decided)
    for name in sorted(seen.keys() | agreements.keys()):
        own = exceptions.get(name, []) + exceptions.get(ANY, [])
        yield StoreFacts(
            store=name,
            snapshots=seen.get(name, ()),
            agreements=tuple(agreements.get(name, ())),
            changes=changes.get(name, ()),
            exceptions=tuple(own),
            first_run=first_run,
        )


def _snapshots(listed: pl.DataFrame, decided: pl.DataFrame) -> Mapping[str, tuple[Snapshot, ...]]:
    """Return the exports by store; rows as plain tuples, since there are very many."""
    values = [pl.col(name).cast(pl.String) for name in FIELDS]
    rows = listed.select("store", "seen_on", *values).iter_rows()
    said: defaultdict[tuple[str, date], dict[str, str | None]] = defaultdict(dict)
    for store, day, station, before in decided.iter_rows():
        said[store, day][station] = before
    return {
        store: tuple(
            Snapshot(day, {row[2]: row[2:] for row in group}, said.get((store, day), {}))
            for day, group in groupby(exports, key=itemgetter(1))
        )
        for store, exports in groupby(rows, key=itemgetter(0))
    }


def _changes(
    database: Database, last: date, store: str | None
) -> Mapping[str, tuple[ChangeStory, ...]]:
    """Return the changes by store, each with its events up to a day."""
    asked = {"last": last, "store": store}
    events = grouped(database.records(ChangeEvent, "audit", "events", asked), "change")
    changes = database.records(Change, "audit", "changes", {"store": store})
    given = database.mapping("audit", "given", {"store": store})
    return {
        name: tuple(ChangeStory(one, tuple(events.get(one.change, ())), given) for one in own)
        for name, own in grouped(changes, "store").items()
    }


def _exceptions(rows: Sequence[ExceptionFile]) -> Mapping[str, list[OnFile]]:
    """Return the exceptions by store, each for every stretch of days it was on file."""
    found: dict[str, list[OnFile]] = defaultdict(list)
    for _, group in groupby(rows, key=_EXCEPTION):
        since: date | None = None
        for row in group:
            if row.on_file:
                since = date.min if row.first_run else row.as_of
            elif since is not None:
                found[row.store].append(_on_file(row, since, row.as_of))
                since = None
        if since is not None:
            found[row.store].append(_on_file(row, since, None))
    return found


def _on_file(row: ExceptionFile, since: date, gone: date | None) -> OnFile:
    return OnFile(
        row.rule, row.subject, row.reason, row.approved_by, row.until, since=since, gone=gone
    )


@dataclass(frozen=True, slots=True)
class Approved:
    """A new version of a store's baseline: its number and how many stations it speaks of."""

    store: str
    version: int
    stations: int
    found_on: date


@dataclass(frozen=True, slots=True)
class LatestVersion:
    """The latest version of a store's baseline, and the last day anything was approved for."""

    store: str
    version: int
    approved_on: date


def keep(database: Database) -> None:
    """Note the exceptions on file and each station's clear air, and move the baseline forward.

    Call it once a run, after survey and plan. Later runs replace exceptions and figures; kept under
    this run's day, they let an audit of the quarter say the same whenever it is run.
    """
    with database.transaction():
        database.run("audit", "keep_exceptions")
        database.run("audit", "keep_clear_air")
    advance(database)


def advance(database: Database) -> int:
    """Agree to what was accepted and to the channels verified since; return how many moved any.

    Each change moves its station's channel once, as of the day it was verified; one backed out
    moves it back. No baseline needs to come before.
    """
    with database.transaction():
        accept(database)
        return len(database.column("audit", "advance"))


def accept(database: Database) -> None:
    """Agree to the settings that stations were accepted with at commissioning, once each.

    To be called inside a transaction.
    """
    database.run("audit", "accept")


def approve(  # noqa: PLR0913 - what is approved, by whom, why and when
    database: Database, settings: Settings, stores: Sequence[str], *, by: str, reason: str, on: date
) -> tuple[Approved, ...]:
    """Freeze the configuration of stores as agreed: as the latest export up to a day found it.

    Stations no longer there are agreed to be gone. The same approval once more adds no version.

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
    _refuse_unfounded(settings, by, reason)
    advance(database)
    known = database.column("audit", "known_stores")
    latest = {o.store: o for o in database.records(LatestVersion, "audit", "latest_versions")}
    stories = _stories(database, stores, on)
    rows: list[Baseline] = []
    done: list[Approved] = []
    for store in sorted(set(stores)):
        if store not in known:
            raise UnknownSelection("store", store, known)
        last, story = latest.get(store), stories.get(store)
        if last is not None and last.approved_on > on:
            raise BaselineOutOfOrder(store, on, last.approved_on)
        if story is None or not story.days:
            raise NothingToApprove(store, on)
        version = last.version if last else 0
        found = [Baseline(version, store, *one, by, on, reason, None) for one in _found(story, on)]
        if not set(found) <= set(story.facts.agreements):  # else this very approval is there
            version += 1
            rows += [replace(row, version=version) for row in found]
        count = sum(row.field == FIELDS[STATION] and row.value is not None for row in found)
        done.append(Approved(store, version, count, story.days[-1]))
    with database.transaction():
        database.put(Baseline, sorted(rows, key=attrgetter("version", "store", "station", "field")))
    return tuple(done)


def take(
    database: Database, answers: Sequence[DepartureAnswer], originals: Sequence[Original] = ()
) -> None:
    """Keep what was answered, and where; what was approved as found is agreed, a row a station."""
    latest = {
        o.store: o.version for o in database.records(LatestVersion, "audit", "latest_versions")
    }
    versions: dict[tuple[str, str, date], int] = {}
    rows = []
    for one in answers:
        if one.answer == APPROVE:
            given = one.store, one.cause, one.answered_on
            if given not in versions:
                latest[one.store] = versions[given] = latest.get(one.store, 0) + 1
            reason = one.note or f"{AS_FOUND}, before {one.agreed}"
            rows.append(
                Baseline(
                    versions[given], one.store, one.subject, one.field, one.found,
                    one.answered_by, one.answered_on, reason, None,
                )
            )  # fmt: skip
    with database.transaction():
        keep_originals(database, "workbook", originals)
        database.put(DepartureAnswer, answers)
        database.put(Baseline, rows)


def _refuse_unfounded(settings: Settings, by: str, reason: str) -> None:
    if by not in settings.approvers:
        raise ApproverUnknown(by, settings.approvers)
    if not reason.strip():
        raise ReasonMissing


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
