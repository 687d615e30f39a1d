"""Hold the exports against what was approved and promised, and say what became of each change."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from pipeline.changes.judgement import Found, Verdict, judge, yardstick
from pipeline.changes.records import PROGRAM, Calibration, Check, Event
from pipeline.changes.register import append
from pipeline.changes.states import State, Step
from pipeline.database import Database
from pipeline.due import narrowed
from pipeline.frames import frame_of
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class _CheckRow:
    seq: int
    change: str
    seen_on: date
    channel_found: int | None
    connected: bool | None
    labels_before: int
    labels_after: int | None
    clear_air_before: float
    promised: float
    measured: float | None
    readings: int
    sureness: str


def verify(database: Database, settings: Settings) -> tuple[Check, ...]:
    """Judge every change that waits for an export; call it after survey and before propose.

    Only exports of a day after the change's last event count. A second run on the same exports
    finds nothing new.

    Returns:
        One check for each change there was something to say of, open ones with what is missing.
    """
    measure = yardstick(settings.limits)
    found = _waiting(database)
    verdicts = [judge(one, measure) for one in found]
    as_of: date = database.rows("changes", "this_day")[0][0]
    with database.transaction():
        _keep(database, found, verdicts, datetime.combine(as_of, datetime.min.time()))
    return tuple(_check(one, verdict) for one, verdict in zip(found, verdicts, strict=True))


def calibration(database: Database, settings: Settings, day: date) -> tuple[Calibration, ...]:
    """Return how promises of clear air held up to a day: by evidence and promise, and over all."""
    values = {"day": day, "readings_minimum": settings.limits["readings_minimum"]}
    return tuple(Calibration(*row) for row in database.rows("changes", "calibration", values))


def _waiting(database: Database) -> list[Found]:
    """Return what the exports say of every change that waits for them."""
    stores = [store for (store,) in database.rows("changes", "waiting_stores")]
    if not stores:
        return []
    with narrowed(database, stores, "label_seen"):
        return [_found(row) for row in database.rows("changes", "found", {"program": PROGRAM})]


def _found(row: Sequence[object]) -> Found:
    values = list(row)
    values[6] = State(str(values[6]))
    values[12], values[13] = (tuple(sorted(set(values[at] or ()))) for at in (12, 13))  # type: ignore[call-overload]  # lists of integers
    return Found(*values)  # type: ignore[arg-type]  # one value a column of the statement


def _keep(
    database: Database, found: Sequence[Found], verdicts: Sequence[Verdict], now: datetime
) -> None:
    events: list[Event] = []
    facts: list[tuple[int, Found]] = []
    for one, verdict in zip(found, verdicts, strict=True):
        events.extend(_events(one, verdict, now))
        if verdict.states:
            facts.append((len(events) - 1, one))
    first = append(database, Step.VERIFY, events)
    rows = [_row(first + at, one) for at, one in facts]
    database.insert("changes", "insert_change_check", frame_of(_CheckRow, rows))


def _events(found: Found, verdict: Verdict, now: datetime) -> list[Event]:
    """Return the events of a verdict: carried out when the export was made, judged by this run."""
    seen = datetime.combine(found.seen_on, datetime.min.time())
    return [
        Event(
            found.change,
            state,
            seen if state is State.IMPLEMENTED else now,
            PROGRAM,
            verdict.note,
            verdict.result,
        )
        for state in verdict.states
    ]


def _row(seq: int, found: Found) -> _CheckRow:
    return _CheckRow(
        seq=seq,
        change=found.change,
        seen_on=found.seen_on,
        channel_found=found.channel_found,
        connected=found.connected,
        labels_before=found.labels_before,
        labels_after=found.labels_after,
        clear_air_before=found.clear_air_before,
        promised=found.promised,
        measured=found.measured,
        readings=found.readings,
        sureness=found.sureness,
    )


def _check(found: Found, verdict: Verdict) -> Check:
    state = verdict.states[-1] if verdict.states else found.state
    return Check(
        found.change,
        found.store,
        found.station,
        state,
        verdict.result,
        verdict.note,
        found.promised,
        found.measured,
    )
