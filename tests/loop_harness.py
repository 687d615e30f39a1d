"""The whole loop on simulated chains: plan, approve, carry out, scan anew, verify, review."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from empty import new_database, set_limits
from simulate.chain import chain, last_day
from simulate.setting import Setting

from pipeline.changes.effect import HELPED
from pipeline.changes.register import append, propose, this_run
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.changes.verify import verify
from pipeline.database import Database
from pipeline.effect.gather import CHAIN, RolloutProof
from pipeline.effect.verdict import Word
from pipeline.plan.stores import plan
from pipeline.progress import Silent
from pipeline.report.region.answers import mean_gain, verdict
from pipeline.report.region.content import RegionContent
from pipeline.report.region.gather import region_contents
from pipeline.report.region.proof import gains, sentences, why
from pipeline.schedule.stores import schedule
from pipeline.settings import Settings, settings_from
from pipeline.survey.evidence import survey
from pipeline.wording import wording

PERMITTED = (11, 15, 20, 25, 26)
BY = "T. Aldervane"
QUARTER = timedelta(days=91)
RULES = settings_from("[limits]\nsensitivity_draws = 0\n")
"""The rules that ship; how firm a plan is plays no part here."""
ROLLOUT = settings_from("""
[limits]
sensitivity_draws = 0
[teams]
jobs = 2
[[wave]]
name = "pilot"
up_to = 0.2
verified_share = 0.01
wait_days = 42
[[wave]]
name = "second"
up_to = 0.5
verified_share = 0.01
wait_days = 42
[[wave]]
name = "rest"
up_to = 1
verified_share = 0.01
wait_days = 42
""")
"""Three waves a region, six weeks apart, opened by one store that keeps its promise."""
_TURNS, _TURN_DAYS = 6, 28  # rounds of work, and their days; labels come every week
REGION = "no region"  # no stores export
Channels = Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class Carried:
    """One change that was carried out, gains in points of clear air: true, and as verified."""

    true: float
    gained: float
    verdict: str

    @property
    def helped(self) -> bool:
        """Whether it counts as verified to have helped."""
        return self.verdict == HELPED


@dataclass(frozen=True)
class Quarters:
    """What became of one chain.

    stations: how many there are; moved: how many the first plan moves; again: how many the plan of
    the next quarter does; gain: points the review says the changes gained, with its interval.
    """

    stations: int
    moved: int
    again: int
    gain: tuple[float, float, float]
    carried: tuple[Carried, ...]

    @property
    def shows_nothing(self) -> bool:
        """Whether the review's interval covers zero."""
        return self.gain[1] <= 0 <= self.gain[2]


def two_quarters(folder: Path, setting: Setting, seed: int, *, placebo: bool = False) -> Quarters:
    """Return what becomes of one chain from its first plan to the plan of the next quarter.

    Stations stand on floors far apart, so that none hears another: what a move gains is what its
    channels are busy less. Each starts on a permitted channel drawn by seed. With `placebo` every
    station that can moves to a channel on which it truly gains less than a point, up or down: of
    those the one that looks quietest, in place of the first plan.
    """
    made = chain(setting, seed)
    busy = {(s, t, c): share for s, t, c, share, *_ in made.truth.iter_rows()}
    stations = sorted({(store, station) for store, station, _ in busy})
    drawn = np.random.default_rng([seed, 2]).choice(PERMITTED, len(stations))
    before = dict(zip(stations, map(int, drawn), strict=True))
    first, second = last_day(setting), last_day(setting) + QUARTER
    with _opened(folder) as database:
        _export(database, first.date(), before)
        _scan(database, made.readings, timedelta())
        moves = _planned(database, first.date(), _alike(before, busy) if placebo else None)
        after = before | {(store, station): to for _, store, station, to in moves}
        _carry_out(database, [change for change, *_ in moves], first)
        _export(database, second.date(), after)
        _scan(database, chain(setting, seed, survey=1).readings, QUARTER)
        again = _planned(database, second.date())
        (review,) = region_contents(database, RULES, [REGION])
        gain = mean_gain(review) if review.promises else (0.0, 0.0, 0.0)
        judged = {row[:2]: row[2:] for row in _judged(database)}
    carried = tuple(
        Carried(100 * (busy[*key, before[key]] - busy[*key, after[key]]), *judged[key])
        for key in stations
        if key in judged
    )
    low, middle, high = (100 * value for value in (gain[1], gain[0], gain[2]))
    return Quarters(len(stations), len(moves), len(again), (middle, low, high), carried)


@dataclass(frozen=True)
class RolledOut:
    """What the program says of a rollout that gains nothing, of its region and of the chain."""

    waves: int  # judged
    turned: int  # stores compared at most
    proofs: tuple[RolloutProof, ...]
    texts: tuple[str, ...]  # every sentence of both reviews about effect

    @property
    def helped(self) -> bool:
        """Whether a verdict, or an effect over all waves, says that it helps."""
        whole = [line.found for one in self.proofs for line in one.lines if line.days is None]
        roll_on = any(one.verdict.word is Word.ROLL_ON for one in self.proofs)
        return roll_on or any(found is not None and found.helped for found in whole)


def rolled_out(folder: Path, setting: Setting, seed: int) -> RolledOut:
    """Return what is said of changes that gain nothing, made wave by wave as they are laid out.

    Every station moves to a channel on which it truly gains less than a point. Labels come with
    every export: stores differ, drift and follow a season, and labels come and go.
    """
    made = chain(setting, seed)
    busy = {(s, t, c): share for s, t, c, share, *_ in made.truth.iter_rows()}
    stations = sorted({(store, station) for store, station, _ in busy})
    drawn = np.random.default_rng([seed, 2]).choice(PERMITTED, len(stations))
    channels = dict(zip(stations, map(int, drawn), strict=True))
    labels = _Labels(sorted({store for store, _ in stations}), stations, seed)
    day = last_day(setting).date()
    with _opened(folder, ROLLOUT) as database:
        for turn in range(_TURNS):
            survey_no = chain(setting, seed, survey=turn).readings
            _scan(database, survey_no, timedelta(days=_TURN_DAYS * turn))
            _export(database, day, channels)
            labels.export(database, day)
            _name_stores(database, day, labels.stores)
            moves = _planned(database, day, _alike(channels, busy) if not turn else None, ROLLOUT)
            if not turn:
                _approve(database, [change for change, *_ in moves], day)
            schedule(database, ROLLOUT, Silent())
            channels = channels | _work(database, day, day + timedelta(days=_TURN_DAYS))
            for week in (1, 2, 3):
                labels.export(database, day + timedelta(weeks=week))
            day += timedelta(days=_TURN_DAYS)
        contents = list(region_contents(database, ROLLOUT, [CHAIN, "North"]))
    proofs = tuple(one.proof for one in contents if one.proof is not None)
    lines = [line for one in proofs for line in one.lines]
    return RolledOut(
        len({line.days.wave for line in lines if line.days and line.found}),
        max((line.found.turned for line in lines if line.found), default=0),
        proofs,
        tuple(text for one in contents for text in _told(one)),
    )


def _told(content: RegionContent) -> Iterator[str]:
    words = wording("GB")
    assert content.proof is not None
    yield verdict(content, words)
    yield why(content.proof, words)
    yield from gains(content.proof, words)
    told = sentences(content.proof, content.chain, content.costs, content.offer, words)
    yield from (text for _, text in told)


class _Labels:
    """Labels of stores that differ, drift apart and follow a season, whatever is changed."""

    def __init__(
        self, stores: Sequence[str], stations: Sequence[tuple[str, str]], seed: int
    ) -> None:
        self._rng = np.random.default_rng([seed, 3])
        self.stores = stores
        self._stations = stations
        self._odds = dict(zip(stores, self._rng.normal(1.9, 0.4, len(stores)), strict=True))

    def export(self, database: Database, day: date) -> None:
        """Take in a labels export of a day: 20 labels a station, one in fifty of them new."""
        rng, rows = self._rng, []
        season = 0.2 * np.sin(2 * np.pi * day.toordinal() / 90)
        for store in self.stores:
            self._odds[store] += rng.normal(0, 0.1)
        for store, station in self._stations:
            share = 1 / (1 + np.exp(-self._odds[store] - season))
            for n in range(20):
                sent, fresh = int(rng.integers(50, 150)), rng.random() < 0.02
                label = f"{station}-{n}{f'-{day}' if fresh else ''}"
                came = int(rng.binomial(sent, share))
                rows.append((store, label, day, station, day, sent, came, came))
        columns = ["store", "label", "seen_on", "station", "last_heard_on", "updates_sent",
                   "updates_acknowledged", "acknowledged_first"]  # fmt: skip
        with database.lent("incoming", pl.DataFrame(rows, schema=columns, orient="row")):
            database.connection.execute("insert into label_seen by name select * from incoming")


def _name_stores(database: Database, day: date, stores: Sequence[str]) -> None:
    database.connection.executemany(
        "insert into store_seen (store, seen_on, region, country, time_zone, opens, closes)"
        " values (?, ?, 'North', 'GB', 'Europe/London', '07:00', '21:00')",
        [(store, day) for store in stores],
    )


def _approve(database: Database, changes: list[str], day: date) -> None:
    at = datetime.combine(day + timedelta(days=1), time(12))
    with database.transaction():
        approved = [new_event(c, ChangeState.APPROVED, at, BY) for c in changes]
        append(database, Trigger.DECIDE, approved)


def _work(database: Database, since: date, until: date) -> dict[tuple[str, str], int]:
    """Report done what has a firm night up to a day; return the channels set."""
    rows = database.connection.execute(
        "select c.change, c.store, c.station, c.to_channel, max(s.starts_local)"
        " from change_schedule s join change_story t on t.store = s.store"
        " join change c on c.change = t.change"
        " where not s.provisional and s.night > ? and s.night < ? and t.waits_for in"
        " ('night', 'work') and not t.parking group by all order by 5, 1",
        [since, until],
    ).fetchall()
    events = [
        new_event(change, ChangeState.IMPLEMENTED, at, BY, result="done") for change, *_, at in rows
    ]
    with database.transaction():
        append(database, Trigger.RESULT, events)
    return {(store, station): to for _, store, station, to, _ in rows}


@contextmanager
def _opened(folder: Path, rules: Settings = RULES) -> Iterator[Database]:
    with new_database(folder / "loop.duckdb") as database:
        set_limits(database, rules.limits)
        yield database


def _export(database: Database, day: date, channels: Channels) -> None:
    """Take in a stations export of a day, and let the run be of that day."""
    rows = [(store, t, day, 40 * n, c) for n, ((store, t), c) in enumerate(channels.items())]
    database.connection.executemany(
        "insert into station_seen (store, station, seen_on, floor, channel) values (?, ?, ?, ?, ?)",
        rows,
    )
    stores = sorted({store for store, _ in channels})
    database.connection.execute("delete from this_run")
    database.connection.execute("insert into this_run values (?, ?)", [f"run of {day}", day])
    database.connection.execute("delete from permitted_channel")
    database.connection.executemany(
        "insert into permitted_channel values (?, ?)", [(s, c) for s in stores for c in PERMITTED]
    )


def _scan(database: Database, readings: pl.DataFrame, later: timedelta) -> None:
    """Take in scans, own stations quiet meanwhile."""
    rows = readings.select(
        "store", "station", pl.col("scanned_at") + later, pl.lit("store").alias("clock"),
        pl.col("channel").cast(pl.Int32), "level_dbm", "statistic", "dwell_ms",
        pl.lit(value=True).alias("own_quiet"), "readings",
    )  # fmt: skip
    with database.lent("incoming", rows):
        database.connection.execute("insert into ed_reading by name select * from incoming")


_Alike = Mapping[tuple[str, str], tuple[int, Sequence[int]]]


def _alike(before: Channels, busy: Mapping[tuple[str, str, int], float]) -> _Alike:
    """Return of each station its channel, and those within a point of it."""
    return {
        key: (
            here,
            [c for c in PERMITTED if c != here and abs(busy[*key, c] - busy[*key, here]) < 0.01],
        )
        for key, here in before.items()
    }


def _planned(
    database: Database, day: date, alike: _Alike | None = None, rules: Settings = RULES
) -> list[tuple[str, str, str, int]]:
    """Run the steps of a day; return each new change with its store, station and new channel."""
    survey(database, rules)
    verify(database, rules)
    plan(database, rules, Silent())
    if alike is not None:
        _plan_says(database, alike)
    propose(database, rules)
    return database.connection.execute(
        "select change, store, station, to_channel from change where proposed_on = ?"
        " order by store, position",
        [day],
    ).fetchall()


def _plan_says(database: Database, alike: _Alike) -> None:
    """Let the plan move every station to the one of its channels alike that looks quietest."""
    rows = [(*key, here, c) for key, (here, others) in alike.items() for c in others]
    columns = ["store", "station", "from_channel", "to_channel"]
    database.connection.execute("delete from move; delete from station_plan")
    with database.lent("incoming", pl.DataFrame(rows, schema=columns, orient="row")):
        database.connection.execute(
            "create or replace temp table chosen as select i.*, 1 - h.busy_estimate as before,"
            " 1 - h.busy_high as before_low, 1 - h.busy_low as before_high,"
            " 1 - t.busy_estimate as after, 1 - t.busy_high as after_low,"
            " 1 - t.busy_low as after_high"
            " from incoming i join ed_evidence h on h.store = i.store and h.station = i.station"
            " and h.channel = i.from_channel join ed_evidence t on t.store = i.store"
            " and t.station = i.station and t.channel = i.to_channel qualify row_number() over"
            " (partition by i.store, i.station order by t.busy_estimate, i.to_channel) = 1"
        )
    database.connection.execute(
        "insert into move by name select store, station, from_channel, to_channel,"
        " row_number() over (partition by store order by station) as position, false as parking,"
        " before as clear_air_before, before_low as clear_air_before_low,"
        " before_high as clear_air_before_high, after as clear_air_after,"
        " after_low as clear_air_after_low, after_high as clear_air_after_high, '' as reason,"
        " '{}' as facts from chosen"
    )
    database.connection.execute(
        "insert into station_plan by name select store, station, from_channel as channel_now,"
        " to_channel as channel_planned, 'measured' as source_planned, 'low' as sureness,"
        " '' as reason, '{}' as facts from chosen"
    )


def _carry_out(database: Database, changes: list[str], planned: datetime) -> None:
    """Approve every change and report it done, on the days after the plan."""
    assert this_run(database).as_of == planned.date()
    for days, state, trigger in (
        (1, ChangeState.APPROVED, Trigger.DECIDE),
        (2, ChangeState.IMPLEMENTED, Trigger.RESULT),
    ):
        at = datetime.combine(planned.date() + timedelta(days=days), time(22))
        result = "done" if state is ChangeState.IMPLEMENTED else None
        append(database, trigger, [new_event(c, state, at, BY, result=result) for c in changes])


def _judged(database: Database) -> list[tuple[str, str, float, str]]:
    return database.connection.execute(
        "select c.store, c.station, 100 * k.gained, k.verdict from change_check k"
        " join change c using (change) where k.gained is not null order by k.seq"
    ).fetchall()
