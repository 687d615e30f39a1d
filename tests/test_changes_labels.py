"""What labels got, and which of them did not follow a change, against a recount in plain Python."""

import shutil
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import fields
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from changes_kit import approve_all, at, chain, export_says, speak_of
from empty import new_database
from scipy import stats

from pipeline.changes.effect import follow, success_gain
from pipeline.changes.register import Booking, append, book, propose
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.database import Database
from pipeline.settings import load_settings
from pipeline.tables.exports import LabelSeen
from pipeline.tables.run import Setting, ThisRun

AS_OF = date(2026, 9, 30)
LIMITS = load_settings().limits


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """A new database with a run and the limits, and no label."""
    with new_database(tmp_path / "labels.duckdb") as opened:
        opened.put(ThisRun, [ThisRun("r", AS_OF)])
        opened.put(Setting, [Setting(name, value) for name, value in LIMITS.items()])
        yield opened


def label(name: str, seen_on: date = AS_OF, station: str | None = "A", **more: Any) -> LabelSeen:  # noqa: ANN401 - any columns
    """Return a label of store S, with nothing said of it but `more`."""
    said: dict[str, Any] = dict.fromkeys(column.name for column in fields(LabelSeen))
    key = {"store": "S", "label": name, "seen_on": seen_on, "station": station}
    return LabelSeen(**{**said, **key, **more})


def outcomes(database: Database) -> list[dict[str, Any]]:
    """Return the rows of `label_outcome`, in order."""
    query = "from label_outcome order by store, station, seen_on"
    found = database.connection.execute(query)
    names = [column[0] for column in found.description]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def test_counts_are_pooled_and_go_before_the_share_beside_them(database: Database) -> None:
    """90 of 100 and 198 of 200, worked by hand; a label without counts beside them says nothing."""
    database.put(LabelSeen, [
        label("1", updates_sent=100, updates_acknowledged=90, acknowledged_first=80,
              success_pct=50.0),
        label("2", updates_sent=200, success_pct=99.0),
        label("3", success_pct=10.0),
        label("4", updates_sent=40),
    ])  # fmt: skip

    (found,) = outcomes(database)

    assert (found["labels"], found["updates"], found["acknowledged"]) == (4, 300, 288)
    assert found["acknowledged_first"] == 80
    assert found["success_share"] == pytest.approx(288 / 300)
    assert (found["silent"], found["moved"]) == (None, None)


def test_without_counts_shares_weigh_by_the_updates_a_day(database: Database) -> None:
    """100 % of 12 a day and 40 % of the 4 that are taken where the export does not say."""
    database.put(LabelSeen, [
        label("1", success_pct=100.0, updates_per_day=12.0),
        label("2", success_pct=40.0),
        label("3", updates_per_day=500.0),
    ])  # fmt: skip

    (found,) = outcomes(database)

    assert (found["updates"], found["acknowledged"]) == (None, None)
    assert found["success_share"] == pytest.approx((12 + 0.4 * 4) / 16)


def test_silent_and_moved_are_counted_against_the_limit_and_the_export_before(
    database: Database,
) -> None:
    """Seven days are not silent yet, eight are; a label that an export left out has not moved."""
    before, between = AS_OF - timedelta(90), AS_OF - timedelta(30)
    database.put(LabelSeen, [
        label("1", before), label("1", between), label("1", last_heard_on=AS_OF - timedelta(7)),
        label("2", between, "B"), label("2", last_heard_on=AS_OF - timedelta(8)),
        label("3", before, "B"), label("3"),
        label("4"),
        label("5", AS_OF + timedelta(1)),
    ])  # fmt: skip

    found = {(each["station"], each["seen_on"]): each for each in outcomes(database)}

    now = found["A", AS_OF]
    assert (now["labels"], now["silent"], now["moved"]) == (4, 1, 1)
    assert found["A", before]["moved"] is None
    assert found["A", between]["moved"] == 0
    assert now["success_share"] is None
    assert ("A", AS_OF + timedelta(1)) not in found
    changed = database.connection.execute(
        "select store, export_before, seen_on, labels_before, moved from labels_changed order by 3"
    ).fetchall()
    assert changed == [("S", before, between, 2, 0), ("S", between, AS_OF, 2, 1)]


def test_a_station_is_replaced_where_exports_name_other_hardware(database: Database) -> None:
    """An export that names no address in between changes nothing; the same address is the same."""
    told = [(90, "a1"), (60, None), (30, "a1"), (10, "a2"), (-1, "a3")]
    database.connection.executemany(
        "insert into station_seen (store, station, seen_on, eui64) values ('S', 'A', ?, ?)",
        [(AS_OF - timedelta(days), eui64) for days, eui64 in told],
    )

    found = database.connection.execute(
        "select store, station, before, seen_on from station_replaced"
    ).fetchall()

    assert found == [("S", "A", AS_OF - timedelta(30), AS_OF - timedelta(10))]


class Truth:
    """A store with one change of station B-01, its exports drawn at random, and its recount."""

    def __init__(self, seed: int) -> None:
        chance = np.random.default_rng(seed)
        self.chance = chance
        start = date(2026, 10, 1)
        days = sorted(int(day) for day in chance.choice(np.arange(1, 80), 5, replace=False))
        self.told_on = [start + timedelta(day) for day in days[: int(chance.integers(2, 6))]]
        self.as_of = start + timedelta(int(chance.integers(40, 90)))
        self.approved = start
        self.due = self.reported = None
        night = start + timedelta(int(chance.integers(5, 50)))
        if chance.random() < 0.7:
            self.due = at(night, 23) if chance.random() < 0.5 else at(night + timedelta(1), 2)
        if chance.random() < 0.6:
            self.reported = at(night + timedelta(int(chance.integers(0, 3))), 8)
        self.elsewhere_on = start + timedelta(int(chance.integers(0, 8)))
        self.labels = list(self._labels())

    def _labels(self) -> Iterator[LabelSeen]:
        chance = self.chance
        counted = {day: chance.random() < 0.5 for day in self.told_on}
        for number in range(int(chance.integers(1, 60))):
            for day in self.told_on:
                if chance.random() < 0.1:
                    continue
                ago = int(chance.choice([0, 1, 2, 7, 8, 30], p=[0.4, *[0.12] * 5]))
                station = ("B-01", "B-02", None)[int(chance.choice(3, p=[0.8, 0.15, 0.05]))]
                sent = int(chance.integers(0, 40))
                told = counted[day] and chance.random() < 0.8
                acked = chance.random() < (0.7 if told else 0.1)
                yield label(
                    f"L{number}", day, station, store="B",
                    last_heard_on=None if chance.random() < 0.1 else day - timedelta(ago),
                    updates_per_day=None if chance.random() < 0.3 else float(sent),
                    success_pct=None if chance.random() < 0.2 else float(chance.integers(50, 101)),
                    updates_sent=sent if told else None,
                    updates_acknowledged=int(sent * 0.8) if acked else None,
                )  # fmt: skip

    @property
    def since(self) -> tuple[date, bool]:
        """The day after which labels count, and whether anybody said when the change was made."""
        reported = self.reported.date() if self.reported else None
        made: date | None = reported
        if self.due is not None:
            evening = self.due.date() if self.due.hour >= 12 else self.due.date() - timedelta(1)
            late = reported is not None and reported > evening + timedelta(1)
            if evening < self.as_of and not late:
                made = evening if reported is None else min(evening, reported)
        dated = made is not None
        return max(made or self.approved, self.elsewhere_on), dated

    def of_day(self, day: date) -> dict[str, tuple[LabelSeen, float | None, float | None]]:
        """Return the labels of an export with their updates and those acknowledged."""
        rows = [row for row in self.labels if row.seen_on == day]
        counted = any(
            row.updates_sent and (row.updates_acknowledged, row.success_pct) != (None, None)
            for row in rows
        )
        return {row.label: (row, *_weighed(row, counted)) for row in rows}

    def recount(self) -> dict[str, Any]:
        """Return what the change's row must say, from the rows alone."""
        since, dated = self.since
        days = [day for day in self.told_on if day <= self.as_of and self.of_day(day)]
        before = self.of_day(max((d for d in days if d <= since), default=date.min))
        told_on = max((d for d in days if d > since), default=None)
        after = self.of_day(told_on) if told_on else {}
        found: Counter[str] = Counter()
        pairs = []
        for name, (row, sent, acked) in before.items():
            if row.station != "B-01":
                continue
            heard = row.last_heard_on
            due = heard is None or (row.seen_on - heard).days <= 7
            now, sent_now, acked_now = after.get(name, (None, None, None))
            if now and now.station == "B-01" and acked is not None and acked_now is not None:
                pairs.append((sent, acked, sent_now, acked_now))
            if not due:
                continue
            found["due"] += 1
            if now is None:
                continue
            found["listed"] += 1
            back = _back(now, since, dated)
            found["back"] += back is True
            found["unsaid"] += back is None
            found["behind"] += back is False
            found["elsewhere"] += now.station not in {None, "B-01"} and back is not False
        return {"told_on": told_on, **found, **_gain(pairs)}


def _weighed(row: LabelSeen, counted: bool) -> tuple[float | None, float | None]:
    sent = float(row.updates_sent) if counted and row.updates_sent is not None else None
    if not counted:
        sent = 4.0 if row.updates_per_day is None else row.updates_per_day
    if sent is None:
        return None, None
    if counted and row.updates_acknowledged is not None:
        return sent, float(row.updates_acknowledged)
    if row.success_pct is None:
        return sent, None
    return sent, sent * row.success_pct / 100


def _back(now: LabelSeen, since: date, dated: bool) -> bool | None:
    if now.last_heard_on is None:
        return None
    sure = since if dated else max(since, now.seen_on - timedelta(8))
    return now.last_heard_on > sure


def _gain(pairs: list[tuple[Any, ...]]) -> dict[str, Any]:
    """Return the shares, their difference and its interval, by numpy and scipy's t."""
    if not pairs:
        return {}
    sent, acked, sent_now, acked_now = np.array(pairs, dtype=float).T
    if not sent.sum() or not sent_now.sum():
        return {}
    was, now = acked.sum() / sent.sum(), acked_now.sum() / sent_now.sum()
    apart = (acked_now - now * sent_now) / sent_now.sum() - (acked - was * sent) / sent.sum()
    if len(pairs) < 10:
        return {"gained": now - was}
    half = stats.t.ppf(0.95, len(pairs) - 1) * np.sqrt(len(pairs)) * apart.std(ddof=1)
    return {"gained": now - was, "low": now - was - half if half > 1e-8 else None}


def _checked(folder: Path, seed: int) -> Counter[str]:
    """Hold what the program finds of one chain against its recount; return what occurred."""
    truth = Truth(seed)
    with chain(folder, {"B": (("B-01", 11, 25, False),)}) as database:
        database.put(Setting, [Setting(name, value) for name, value in LIMITS.items()])
        propose(database, load_settings())
        [change] = approve_all(database, truth.approved)
        if truth.due:
            book(database, [Booking(change, truth.due, "team")])
        if truth.reported:
            done = new_event(change, ChangeState.IMPLEMENTED, truth.reported, "team", result="done")
            append(database, Trigger.RESULT, [done])
        export_says(database, truth.elsewhere_on, {"B-01": 11})
        export_says(database, truth.as_of, {"B-01": 25})
        database.put(LabelSeen, truth.labels)
        speak_of(database, truth.as_of)
        found = follow(database, 0.9)[change]
        behind = database.connection.execute("select count(*) from label_behind").fetchone()
        expected = truth.recount()
        assert found.since == truth.since[0]
        for name in ("due", "listed", "back", "unsaid", "elsewhere"):
            assert getattr(found, f"labels_{name}") == expected.get(name, 0), (seed, name)
        assert behind == (expected.get("behind", 0),)
        assert found.told_on == expected["told_on"]
        for ours, own in (("success_gained", "gained"), ("success_gained_low", "low")):
            want = expected.get(own)
            assert getattr(found, ours) == (None if want is None else pytest.approx(want, abs=2e-6))
        _outcomes_equal(database, truth)
    return Counter(name for name, value in expected.items() if value)


def _outcomes_equal(database: Database, truth: Truth) -> None:
    """Hold `label_outcome` against a count over the rows."""
    days = sorted({row.seen_on for row in truth.labels if row.seen_on <= truth.as_of})
    found = {(row["station"], row["seen_on"]): row for row in outcomes(database)}
    wanted: dict[tuple[str, date], list[Any]] = defaultdict(list)
    for before, day in zip([None, *days], days, strict=False):
        earlier = truth.of_day(before) if before else {}
        for name, (row, sent, acked) in truth.of_day(day).items():
            if row.station is not None:
                was = earlier[name][0].station if name in earlier else None
                wanted[row.station, day].append((row, sent, acked, was))
    assert found.keys() == wanted.keys()
    for (station, day), rows in wanted.items():
        silent = [(day - row.last_heard_on).days > 7 for row, *_ in rows if row.last_heard_on]
        moved = sum(was not in {None, station} for *_, was in rows)
        known = [(sent, acked) for _, sent, acked, _ in rows if acked is not None]
        total = sum(sent for sent, _ in known)
        share = sum(acked for _, acked in known) / total if total else None
        told = found[station, day]
        assert told["labels"] == len(rows)
        assert told["silent"] == (sum(silent) if silent else None)
        assert told["moved"] == (None if day == days[0] else moved)
        assert told["success_share"] == (None if share is None else pytest.approx(share, abs=1e-8))


def test_labels_are_counted_as_by_hand_in_random_chains(tmp_path: Path) -> None:
    """A quick slice of the run below."""
    for seed in range(4):
        (tmp_path / str(seed)).mkdir()
        _checked(tmp_path / str(seed), seed)


@pytest.mark.slow
def test_labels_are_counted_as_by_hand_in_many_random_chains(tmp_path: Path) -> None:
    """Silent, moved, back, missing, elsewhere and the gain equal a recount from the rows alone."""
    occurred: Counter[str] = Counter()
    for seed in range(1000, 1120):
        (tmp_path / str(seed)).mkdir()
        occurred += _checked(tmp_path / str(seed), seed)
        shutil.rmtree(tmp_path / str(seed))
    assert min(occurred[name] for name in ("due", "behind", "unsaid", "elsewhere", "low")) > 20


def test_the_interval_of_the_gain_holds_the_truth_nine_times_in_ten() -> None:
    """400 stations of 15 to 80 labels that stray by themselves: the program's own interval."""
    chance = np.random.default_rng(11)
    many = chance.beta(30, 3, 400_000)
    truth = (np.clip(many - 0.02 + chance.normal(0, 0.03, many.size), 0, 1) - many).mean()
    held = 0
    for _ in range(400):
        labels = int(chance.integers(15, 80))
        sent, sent_now = chance.poisson(30, labels) + 1, chance.poisson(40, labels) + 1
        share = chance.beta(30, 3, labels)
        share_now = np.clip(share - 0.02 + chance.normal(0, 0.03, labels), 0, 1)
        acked, acked_now = chance.binomial(sent, share), chance.binomial(sent_now, share_now)
        was, now = acked.sum() / sent.sum(), acked_now.sum() / sent_now.sum()
        apart = (acked_now - now * sent_now) / sent_now.sum() - (acked - was * sent) / sent.sum()
        error = np.sqrt((apart**2).sum() * labels / (labels - 1))
        _, low, high = success_gain(was, now, float(error), labels, 0.9)
        assert low is not None
        assert high is not None
        held += low < truth < high
    assert 0.86 <= held / 400 <= 0.94
