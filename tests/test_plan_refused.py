"""When a refusal without a day ends: station, neighbours, labels or gain have changed."""

from collections.abc import Iterator
from datetime import date

import pytest
from check_cases import fill
from empty import in_memory

from pipeline.database import Database
from pipeline.fresh import choose
from pipeline.plan.costs import StoreProblem
from pipeline.plan.rows import RefusedChannel, StationThen, still_refused
from pipeline.records import StoreStation
from pipeline.settings import load_settings

THEN, NOW = "2026-06-30", "2026-09-30"
SEEN = {"A": "15", "B": "20", "C": "11", "D": "26"}
STANDS = "select station, channel, note from channel_refused"


@pytest.fixture(scope="module")
def refused() -> Iterator[Database]:
    """Yield a store in which A was to go from 15 to 20, refused, and B from 20 to 25, approved."""
    database = in_memory()
    limits = load_settings().limits.items()
    fill(database, "setting", [{"name": name, "value": str(value)} for name, value in limits])
    fill(database, "this_run", [{"run": "r", "as_of": NOW}])
    plan = {"number": "1", "plan": "P", "store": "S", "proposed_on": THEN}
    fill(database, "change_plan", [{**plan, "choices": "11 15 20 25", "moves": "2"}])
    for name, old, new, state in (("A", "15", "20", "refused"), ("B", "20", "25", "approved")):
        change = {"change": name, "plan": "P", "store": "S", "station": name, "labels": "100"}
        channels = {"from_channel": old, "to_channel": new, "proposed_on": THEN}
        fill(database, "change", [{**change, **channels}])
        event = {"seq": str(ord(name)), "change": name, "state": state, "at": "2026-07-02"}
        fill(database, "change_event", [{**event, "by": "T. A.", "note": "not now"}])
    export(database, THEN, **SEEN)
    pairs = [("A", "B"), ("C", "A")]
    pairs_rows = [{"store": "S", "station": a, "neighbour": b, "hit_co": "0.9"} for a, b in pairs]
    fill(database, "earshot", pairs_rows)
    yield database
    database.connection.close()


def export(database: Database, day: str, **channels: str) -> None:
    """Let a stations export of a day name these stations."""
    rows = [
        {"store": "S", "station": station, "seen_on": day, "channel": channel}
        for station, channel in channels.items()
    ]
    fill(database, "station_seen", rows)


@pytest.mark.parametrize(
    ("channels", "labels", "stands"),
    [
        ({}, 100, True),
        ({"B": "25"}, 100, True),  # as it was to be
        ({"D": "11"}, 100, True),  # out of earshot
        ({}, 80, True),
        ({}, 120, True),
        ({"B": "15"}, 100, False),
        ({"C": "26"}, 100, False),
        ({"E": "11"}, 100, True),  # new, but not in earshot
        ({"A": "25"}, 100, False),
        ({}, 79, False),
        ({}, 121, False),
    ],
)
def test_a_refusal_ends_with_the_facts_it_rests_on(
    refused: Database, channels: dict[str, str], labels: int, stands: bool
) -> None:
    """Nothing but the station, the labels it serves and the stations in earshot count."""
    refused.connection.begin()
    try:
        export(refused, NOW, **(SEEN | channels))
        load = {"store": "S", "station": "A", "labels": str(labels + 5), "silent_labels": "5"}
        fill(refused, "station_load", [load])
        found = refused.connection.execute(STANDS).fetchall()
    finally:
        refused.connection.rollback()

    assert found == ([("A", 20, "not now")] if stands else [])


def test_stations_of_then_have_their_channel_and_the_one_planned(refused: Database) -> None:
    """A was to go from 15 to 20 and B from 20 to 25; the others were to stay."""
    refused.connection.begin()
    try:
        export(refused, NOW, **SEEN)
        fill(refused, "station_load", [{"store": "S", "station": "A", "labels": "100"}])
        choose(refused, ["S"])
        then = refused.records(StationThen, "plan", "then")
    finally:
        refused.connection.rollback()

    found = {one.station: (one.channel, one.final) for one in then}
    stayed = {station: (int(channel), int(channel)) for station, channel in SEEN.items()}
    assert found == {**stayed, "A": (15, 20), "B": (20, 25)}


ANSWERED = {"answered_by": "T. A.", "answered_on": "2026-09-15", "answer": "put back"}


@pytest.mark.parametrize(
    ("answers", "approved", "bound"),
    [
        ([ANSWERED], None, True),
        ([ANSWERED | {"found": "26"}], None, False),  # it is on another channel by now
        ([ANSWERED | {"agreed": "13"}], None, False),  # no longer permitted
        ([ANSWERED | {"answered_on": "2026-10-15"}], None, False),  # after the day looked back to
        ([ANSWERED, ANSWERED | {"answer": "leave open"}], None, False),
        ([ANSWERED | {"answer": "leave open"}, ANSWERED], None, True),
        ([ANSWERED], "2026-09-20", False),
        ([ANSWERED], "2026-09-10", True),
        ([ANSWERED | {"subject": "A", "found": "15", "agreed": "25", "answered_on": "2026-07-01"}],
         None, True),  # another channel was refused since
        ([ANSWERED | {"subject": "A", "found": "15", "agreed": "20"}], None, True),
        ([ANSWERED | {"subject": "A", "found": "15", "agreed": "20", "answered_on": "2026-07-01"}],
         None, False),  # refused since
    ],
)  # fmt: skip
def test_what_is_to_be_put_back_is_bound_to_the_channel_agreed(
    refused: Database, answers: list[dict[str, str]], approved: str | None, bound: bool
) -> None:
    """Until it was put back, agreed to after all, or refused as a change."""
    one = {"cause": "c", "store": "S", "subject": "C", "field": "channel"}
    channels = {"agreed": "25", "found": "11"}
    refused.connection.begin()
    try:
        export(refused, NOW, **SEEN)
        export(refused, "2026-12-01", **SEEN)  # so that the run looks back
        fill(refused, "station_load", [{"store": "S", "station": "A", "labels": "100"}])
        permitted = [{"store": "S", "channel": c} for c in ("11", "15", "20", "25")]
        fill(refused, "permitted_channel", permitted)
        fill(refused, "drift_answer", [one | channels | given for given in answers])
        if approved is not None:
            row = {"version": "2", "store": "S", "station": "C", "field": "channel"}
            fill(refused, "baseline", [row | {"value": "11", "approved_on": approved}])
        found = refused.connection.execute(
            "select station, channel, \"by\" from station_bound where why = 'put_back'"
        ).fetchall()
    finally:
        refused.connection.rollback()

    asked = {**one, **channels, **answers[-1]}
    assert found == ([(asked["subject"], int(asked["agreed"]), "T. A.")] if bound else [])


@pytest.mark.parametrize(
    ("busy", "stands"), [(0.30, True), (0.26, True), (0.34, True), (0.25, False), (0.36, False)]
)
def test_a_refusal_ends_once_the_gain_is_outside_its_interval(busy: float, stands: bool) -> None:
    """From 15, now so busy, to 20, which is 10 % busy: the gain was 0.15 to 0.25."""
    stations = (StoreStation("A", 15, (15, 20), 1.0, 0.1),)
    problem = StoreProblem("S", stations, (), {("A", 15): busy, ("A", 20): 0.1}, 0.005)
    day = date(2026, 7, 2)
    row = RefusedChannel("S", "A", 20, "P", "T. A.", day, None, None, 0.155, 0.245)
    then = [StationThen("S", "P", "A", 15, 20)]

    assert bool(still_refused(problem, [row], then)) is stands
