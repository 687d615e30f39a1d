"""Random lives of stores: what people, teams and exports do, told to the program and the oracle."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from random import Random

import polars as pl
from changes_kit import set_limits, speak_of
from story_oracle import Happening, Look, Tale, tell

from pipeline.changes.register import Booking, append, book
from pipeline.changes.states import ChangeState, Trigger, may, new_event
from pipeline.changes.verify import Check, verify
from pipeline.database import Database
from pipeline.settings import Settings
from pipeline.survey.evidence import survey
from pipeline.tables.changes import Change, ChangeEvent, ChangePlan

BY = "T. Aldervane"
FIRST = date(2026, 1, 5)
ROUND = timedelta(days=10)  # people on the first day, work that night, scans later, the export last
CHANNELS = (11, 15, 20, 25, 26)
DECISIONS = ("approved", "approved", "approved", "refused", "deferred", "another channel")
WORK = ("as ordered", "as ordered", "as ordered", "wrongly", "half", "not at all", "not at all")
REPORTS = ("done", "done", "done differently", "not done", "backed out", None, None, None)

_REPORTED = {
    "done": ChangeState.IMPLEMENTED, "done differently": ChangeState.IMPLEMENTED,
    "not done": ChangeState.APPROVED, "backed out": ChangeState.BACKED_OUT,
}  # fmt: skip


@dataclass
class Step:
    """A change of a store, and all that happened to it so far."""

    change: Change
    number: int  # of its plan
    happenings: list[Happening] = field(default_factory=list)

    @property
    def tale(self) -> Tale:
        """What the oracle says of it."""
        return tell(self.change.to_channel, self.happenings, parking=self.change.parking)


@dataclass
class Life:
    """A store: where its stations are, which channels are loud, and its changes by plan."""

    store: str
    chance: Random
    channels: dict[str, int]
    loud: frozenset[int]
    exported: tuple[date, dict[str, int]] | None = None
    plans: list[list[Step]] = field(default_factory=list)

    @property
    def steps(self) -> list[Step]:
        """Every change of every plan."""
        return [step for plan in self.plans for step in plan]

    def way(self, step: Step) -> tuple[list[int], list[int]]:
        """Return the channels of its station up to a step, and from it on."""
        own = [
            (s.change, s.tale.ordered)
            for s in self.plans[step.number]
            if s.change.station == step.change.station
        ]
        at = step.change.position
        return (
            [c.from_channel or 0 for c, _ in own if c.position <= at],
            [ordered for c, ordered in own if c.position >= at],
        )


class World:
    """Stores that live side by side in one database, round by round."""

    def __init__(self, database: Database, settings: Settings, lives: int, seed: int) -> None:
        self.database, self.settings = database, settings
        self.day, self.plans = FIRST, 0
        self.noted: dict[Trigger, list[ChangeEvent]] = defaultdict(list)
        self.lives = [self._born(number, seed) for number in range(lives)]
        set_limits(database, settings)
        speak_of(database, FIRST)
        names = ("store", "seen_on", "name", "region", "country")
        rows = [(life.store, FIRST, life.store, "North", "GB") for life in self.lives]
        self._insert("store_seen", names, rows)
        self.checks: tuple[Check, ...] = ()
        self._export(everywhere=True)
        for life in self.lives:
            self._plan(life)
        self._flush()

    @property
    def today(self) -> date:
        """The day of the run that ends the round."""
        return self.day + ROUND - timedelta(days=1)

    def _born(self, number: int, seed: int) -> Life:
        chance = Random(f"{seed} {number}")
        store = f"S{number:03}"
        channels = {f"{store}-{n}": chance.choice(CHANNELS) for n in (1, 2, 3)}
        loud = frozenset(chance.sample(CHANNELS, 2))
        return Life(store, chance, channels, loud)

    def live(self) -> None:
        """Go through a round: decisions, nights, work, scans, the export, and what it shows."""
        self.day += ROUND
        for life in self.lives:
            if life.plans and life.chance.random() < 0.12:
                self._plan(life)
            self._decide(life)
            self._orders(life)
        self._flush()
        self._book()
        for life in self.lives:
            self._work(life)
        self._flush()
        self._scan()
        self._export()
        self._look()

    def _plan(self, life: Life) -> None:
        """Put a plan forward: each station moves or stays, one of them over a parking channel."""
        number = len(life.plans)
        name = f"{life.store}-plan{number}"
        moves = list(_moves(life))
        steps = [
            Step(_change(life, name, at, move, self.day), number)
            for at, move in enumerate(moves, start=1)
        ]
        for step in life.steps:
            if step.tale.standing in {"undecided", "deferred", "agreed", "booked"}:
                self._note(Trigger.SUPERSEDE, _event(step, ChangeState.LAPSED, self.day))
                step.happenings.append(Happening("superseded", self.day))
        self.plans += 1
        before = f"{life.store}-plan{number - 1}" if number else None
        plan = ChangePlan(
            self.plans, name, life.store, name, "11", len(steps), self.day, "r", before
        )
        self.database.put(ChangePlan, [plan])
        self.database.put(Change, [step.change for step in steps])
        life.plans.append(steps)
        for step in steps:
            self._note(Trigger.PROPOSE, _event(step, ChangeState.PROPOSED, self.day))
            step.happenings.append(Happening("proposed", self.day))

    def _note(self, trigger: Trigger, event: ChangeEvent) -> None:
        """Keep an event for the register; `_flush` adds those of a phase at once."""
        self.noted[trigger].append(event)

    def _flush(self) -> None:
        for trigger in (Trigger.SUPERSEDE, Trigger.PROPOSE, Trigger.DECIDE, Trigger.RESULT):
            append(self.database, trigger, self.noted.pop(trigger, []))

    def _decide(self, life: Life) -> None:
        """Let someone decide on stations of the plan in force, all steps of one alike."""
        for station in life.channels:
            steps = [s for s in life.plans[-1] if s.change.station == station]
            if not steps or life.chance.random() < 0.4:
                continue
            word = life.chance.choice(DECISIONS)
            state = ChangeState.APPROVED if word == "another channel" else ChangeState(word)
            if not all(may(_state(s), state, Trigger.DECIDE) for s in steps):
                continue
            used = {c for s in steps for c in (s.change.from_channel, s.change.to_channel)}
            free = life.chance.choice([c for c in CHANNELS if c not in used])
            for step in steps:
                final = word == "another channel" and not step.change.parking
                channel = free if final else None
                self._note(Trigger.DECIDE, replace(_event(step, state, self.day), channel=channel))
                step.happenings.append(Happening("decided", self.day, (state.value, channel)))

    def _orders(self, life: Life) -> None:
        """Tell each change whether a later plan's change of its station is ordered."""
        for step in life.steps:
            later = any(
                other.tale.standing not in {"undecided", "refused", "deferred", "lapsed"}
                for plan in life.plans[step.number + 1 :]
                for other in plan
                if other.change.station == step.change.station
            )
            if later != step.tale.replaced:
                step.happenings.append(Happening("later order", self.day, later))

    def _book(self) -> None:
        """Give nights to approved changes: most before the next export, some after it."""
        bookings = []
        for life in self.lives:
            for step in life.plans[-1]:
                if step.tale.standing == "agreed" and life.chance.random() < 0.6:
                    days = life.chance.choice((1, 1, 1, 12))
                    due = datetime.combine(self.day + timedelta(days=days), time(22))
                    bookings.append(Booking(step.change.change, due, "team 1"))
                    run_day = self.day - timedelta(days=1)
                    step.happenings.append(Happening("booked", run_day, due))
        book(self.database, bookings)

    def _work(self, life: Life) -> None:
        """Let the team change channels, as ordered or not, and report it or not; some drift."""
        for station in life.channels:
            steps = [s for s in life.steps if s.change.station == station]
            agreed = [s for s in steps if s.tale.standing in {"agreed", "booked"}]
            if agreed and life.chance.random() < 0.8:
                self._do(life, agreed)
            elif life.chance.random() < 0.2:
                self._undo_or_mend(life, [s for s in steps if not s.tale.replaced])
            elif life.chance.random() < 0.06:  # drift, or another device as it came
                life.channels[station] = life.chance.choice(CHANNELS)

    def _do(self, life: Life, agreed: list[Step]) -> None:
        station, how = agreed[0].change.station, life.chance.choice(WORK)
        if how == "as ordered":
            life.channels[station] = agreed[-1].tale.ordered
        elif how == "wrongly":
            life.channels[station] = life.chance.choice(CHANNELS)
        elif how == "half":
            life.channels[station] = agreed[0].tale.ordered
        for step in agreed:
            self._report(step, life.chance.choice(REPORTS))

    def _undo_or_mend(self, life: Life, steps: list[Step]) -> None:
        for step in steps:
            if step.tale.standing == "other" and life.chance.random() < 0.6:
                life.channels[step.change.station] = step.tale.ordered
            elif step.tale.standing in {"reported", "shown", "held", "short", "other"}:
                life.channels[step.change.station] = step.change.from_channel or 0
                self._report(step, life.chance.choice(("backed out", None)))

    def _report(self, step: Step, outcome: str | None) -> None:
        if outcome is None or not may(_state(step), _REPORTED[outcome], Trigger.RESULT):
            return
        day = self.day + timedelta(days=2)
        self._note(
            Trigger.RESULT,
            replace(_event(step, _REPORTED[outcome], day), result=outcome, by="team"),
        )
        step.happenings.append(Happening("reported", day, outcome))

    def _scan(self) -> None:
        """Scan some stores on all channels, on days after the work and before the export."""
        rows = []
        for life in self.lives:
            if life.chance.random() < 0.5:
                continue
            for days in range(5, 9):
                at = datetime.combine(self.day + timedelta(days=days), time(12))
                for station in life.channels:
                    for channel in CHANNELS:
                        levels = (-95.0, -60.0) if channel in life.loud else (-95.0,)
                        rows += [
                            (
                                life.store,
                                station,
                                at,
                                "store",
                                channel,
                                level,
                                "single",
                                0.128,
                                True,
                                10 // len(levels),
                            )
                            for level in levels
                        ]
            for step in life.steps:
                step.happenings.append(Happening("scanned", self.day + timedelta(days=5)))
        names = ("store", "station", "scanned_at", "clock", "channel", "level_dbm", "statistic",
                 "dwell_ms", "own_quiet", "readings")  # fmt: skip
        self._insert("ed_reading", names, rows)

    def _insert(self, table: str, names: Sequence[str], rows: Sequence[tuple[object, ...]]) -> None:
        frame = pl.DataFrame(rows, schema=names, orient="row")
        with self.database.lent("incoming", frame):
            self.database.connection.execute(
                f"insert into {table} by name select * from incoming"  # noqa: S608 - our own table names
            )

    def _export(self, *, everywhere: bool = False) -> None:
        rows = []
        for life in self.lives:
            if everywhere or life.chance.random() < 0.8:
                day = FIRST if everywhere else self.today
                life.exported = (day, dict(life.channels))
                rows += [
                    (life.store, station, day, station, channel, True)
                    for station, channel in life.channels.items()
                ]
        names = ("store", "station", "seen_on", "name", "channel", "connected")
        self._insert("station_seen", names, rows)

    def _look(self) -> None:
        """Verify on the last day of the round, and tell the oracle what was looked at."""
        speak_of(self.database, self.today)
        survey(self.database, self.settings)
        self.checks = verify(self.database, self.settings)
        for life in self.lives:
            assert life.exported is not None
            seen_on, channels = life.exported
            for step in life.steps:
                before, after = life.way(step)
                look = Look(seen_on, channels[step.change.station], before, after, life.loud)
                step.happenings.append(Happening("looked", self.today, look))


def _event(step: Step, state: ChangeState, day: date) -> ChangeEvent:
    return new_event(step.change.change, state, datetime.combine(day, time(12)), BY)


def _state(step: Step) -> str:
    tale = step.tale
    return {
        "undecided": "proposed", "agreed": "approved", "booked": "scheduled",
        "reported": "implemented", "shown": "implemented", "held": "verified",
        "short": "ineffective", "other": "ineffective", "undone": "backed out",
    }.get(tale.standing, tale.standing)  # fmt: skip


def _moves(life: Life) -> Iterator[tuple[str, int, int, bool]]:
    """Yield the moves of a new plan: station, from, to, parking."""
    for station, here in life.channels.items():
        other = [c for c in CHANNELS if c != here]
        life.chance.shuffle(other)
        kind = life.chance.choice(("move", "move", "over parking", "stay"))
        if kind == "over parking":
            yield station, here, other[0], True
            yield station, other[0], other[1], False
        elif kind == "move":
            yield station, here, other[0], False


def _change(life: Life, plan: str, at: int, move: tuple[str, int, int, bool], day: date) -> Change:
    station, before, after, parking = move
    return Change(
        change=f"{plan}-{at:02}", plan=plan, store=life.store, station=station,
        from_channel=before, to_channel=after, position=at, parking=parking,
        clear_air_before=0.4, clear_air_after=0.8, labels=0, sureness="high",
        proposed_by="R. Quellbach", proposed_on=day, clear_air_before_low=0.38,
        clear_air_before_high=0.42, clear_air_after_low=0.78, clear_air_after_high=0.82,
        chance=0.99, free_of_own_before=None, group_no=None, facts=None,
        pan_id=None, tx_power_dbm=None, name=None,
    )  # fmt: skip


def by_closed(steps: list[Step]) -> dict[str, int]:
    """Return how many final changes ended in each way."""
    ends: dict[str, int] = defaultdict(int)
    for step in steps:
        if not step.change.parking and step.tale.closed:
            ends[step.tale.closed] += 1
    return dict(ends)
