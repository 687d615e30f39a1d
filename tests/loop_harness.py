"""The whole loop on simulated chains: plan, approve, carry out, scan anew, verify, review."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

import numpy as np
import polars as pl
from simulate.chain import chain, last_day
from simulate.setting import Setting

from pipeline.changes.effect import HELPED
from pipeline.changes.register import append, propose, this_run
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.changes.verify import verify
from pipeline.database import Database, open_database
from pipeline.plan.stores import plan
from pipeline.progress import Silent
from pipeline.report.region.answers import mean_gain
from pipeline.report.region.gather import region_contents
from pipeline.settings import Settings, settings_from
from pipeline.survey.evidence import survey

PERMITTED = (11, 15, 20, 25, 26)
BY = "T. Aldervane"
QUARTER = timedelta(days=91)
CAREFUL = settings_from("[limits]\nsensitivity_draws = 0\n")
"""The rules that ship; how firm a plan is plays no part here."""
EAGER = settings_from(
    "[limits]\nsensitivity_draws = 0\nleast_chance_of_gain = 0.5\nprice_per_move = 0\n"
)
"""Every move that looks like a gain is proposed, so that many gain nothing."""
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


def two_quarters(folder: Path, setting: Setting, seed: int, rules: Settings = CAREFUL) -> Quarters:
    """Return what becomes of one chain from its first plan to the plan of the next quarter.

    Stations stand on floors far apart, so that none hears another: what a move gains is what its
    channels are busy less. Each starts on a permitted channel drawn by seed.
    """
    made = chain(setting, seed)
    busy = {(s, t, c): share for s, t, c, share, *_ in made.truth.iter_rows()}
    stations = sorted({(store, station) for store, station, _ in busy})
    drawn = np.random.default_rng([seed, 2]).choice(PERMITTED, len(stations))
    before = dict(zip(stations, map(int, drawn), strict=True))
    first, second = last_day(setting), last_day(setting) + QUARTER
    with _opened(folder, rules) as database:
        _export(database, first.date(), before)
        _scan(database, made.readings, timedelta())
        moves = _planned(database, first.date(), rules)
        after = before | {(store, station): to for _, store, station, to in moves}
        _carry_out(database, [change for change, *_ in moves], first)
        _export(database, second.date(), after)
        _scan(database, chain(setting, seed, survey=1).readings, QUARTER)
        again = _planned(database, second.date(), rules)
        (review,) = region_contents(database, rules, [REGION])
        gain = mean_gain(review) if review.promises else (0.0, 0.0, 0.0)
        judged = {row[:2]: row[2:] for row in _judged(database)}
    carried = tuple(
        Carried(100 * (busy[*key, before[key]] - busy[*key, after[key]]), *judged[key])
        for key in stations
        if key in judged
    )
    low, middle, high = (100 * value for value in (gain[1], gain[0], gain[2]))
    return Quarters(len(stations), len(moves), len(again), (middle, low, high), carried)


@contextmanager
def _opened(folder: Path, rules: Settings) -> Iterator[Database]:
    with open_database(folder / "loop.duckdb") as database:
        database.connection.executemany(
            "insert into setting values (?, ?)", [list(kv) for kv in rules.limits.items()]
        )
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


def _planned(database: Database, day: date, rules: Settings) -> list[tuple[str, str, str, int]]:
    """Run the steps of a day; return each new change with its store, station and new channel."""
    survey(database, rules)
    verify(database, rules)
    plan(database, rules, Silent())
    propose(database, rules)
    return database.connection.execute(
        "select change, store, station, to_channel from change where proposed_on = ?"
        " order by store, position",
        [day],
    ).fetchall()


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
