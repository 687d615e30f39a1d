"""The core of the audit on small stores: following stations, kinds of departure, exact edges."""

import csv
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.audit.audit import with_causes
from pipeline.audit.drift import audited, departures, story_of
from pipeline.audit.follow import follow
from pipeline.audit.records import (
    FIELDS,
    ChangeStory,
    DriftKind,
    OnFile,
    Quarter,
    Snapshot,
    Span,
    StoreFacts,
    Values,
    excepts,
    quarter_of,
    quarters_to,
    read_quarter,
)
from pipeline.changes.states import ChangeState, new_event
from pipeline.errors import QuarterUnreadable
from pipeline.tables.audit import Baseline, Departure
from pipeline.tables.changes import Change

DAYS = (date(2026, 6, 30), date(2026, 7, 31), date(2026, 8, 31), date(2026, 9, 30))
Q3 = Span(DAYS[0], DAYS[-1])
A, B, C = "00005eef10000001", "00005eef10000002", "00005eef10000003"


def row(station: str, address: str | None = A, **facts: str | None) -> Values:
    """Return what an export says of a station."""
    values: dict[str, str | None] = {
        "station": station, "channel": "15", "pan_id": "0x2001", "tx_power_dbm": "0",
        "eui64": address, "ip_address": f"10.0.0.{len(station)}", "port": "4840",
        "firmware": "1", "hardware": "indoor", "name": f"by {station}", "mounted": "ceiling",
        "place": f"0 / {station} / 1",
    }  # fmt: skip
    return tuple({**values, **facts}.get(name) for name in FIELDS)


def exports(*days: list[Values]) -> tuple[Snapshot, ...]:
    """Return one export a day of DAYS, each with some rows."""
    return tuple(
        Snapshot(day, {str(values[0]): values for values in rows})
        for day, rows in zip(DAYS, days, strict=False)
    )


def agreed(*rows: Values, on: date = DAYS[0], version: int = 1) -> tuple[Baseline, ...]:
    """Return a baseline that agrees to some rows."""
    return tuple(
        Baseline(version, "S1", str(values[0]), name, value, "P. Approver", on, "as built", None)
        for values in rows
        for name, value in zip(FIELDS, values, strict=True)
    )


def facts(snapshots: tuple[Snapshot, ...], *agreements: Baseline) -> StoreFacts:
    """Return the facts of a store with nothing in the register and no exception."""
    return StoreFacts("S1", snapshots, agreements, (), (), DAYS[0])


def found(known: StoreFacts, span: Span = Q3) -> list[tuple[str, str, str]]:
    """Return subject, field and kind of what departs."""
    return [(r.subject, r.field, r.kind) for r in departures(story_of(known), span)]


def only(known: StoreFacts, span: Span = Q3) -> Departure:
    """Return the one departure there is."""
    [one] = departures(story_of(known), span)
    return one


def test_names_and_hardware_tell_stations_apart() -> None:
    """A new name with known hardware is the station of before; exchanged hardware is not."""
    renamed = follow(exports([row("a", A)], [row("b", A)]))
    assert [[name for _, name in life.names] for life in renamed] == [["a", "b"]]

    here, there = row("a", A), row("bb", B)
    exchanged = follow(exports([here, there], [row("a", B), row("bb", A)]))
    assert [[name for _, name in life.names] for life in exchanged] == [["a"], ["bb"]]


def test_renumbered_stations_keep_their_place() -> None:
    """Where place, name and address travel with the hardware, the stations were renumbered."""
    first = [row("a", A, place="1"), row("bb", B, place="2")]
    second = [row("bb", A, place="1", name="by a", ip_address="10.0.0.1"),
              row("ccc", B, place="2", name="by bb", ip_address="10.0.0.2")]  # fmt: skip
    lives = follow(exports(first, second))

    assert [[name for _, name in life.names] for life in lives] == [["a", "bb"], ["bb", "ccc"]]


@pytest.mark.parametrize("address", [None, "not an address", "0000000000000000"])
def test_hardware_without_an_address_of_its_own_says_nothing(address: str | None) -> None:
    """Blank, malformed and all-zero addresses make no two names one station; nor do shared ones."""
    assert len(follow(exports([row("a", address)], [row("b", address)]))) == 2
    assert len(follow(exports([row("a"), row("bb")], [row("ccc"), row("dddd")]))) == 4


def test_what_an_export_does_not_state_stays_as_it_was() -> None:
    """A column left out is no change, and no departure."""
    known = facts(exports([row("a")], [row("a", firmware=None)]), *agreed(row("a")))
    assert found(known) == []


@given(st.lists(st.sampled_from([1, 2, 3, 4, 5, 6]), min_size=2, max_size=8), st.integers(0, 8))
def test_later_exports_change_nothing_said_of_earlier_ones(states: list[int], cut: int) -> None:
    """Cutting the later exports off leaves every life as it was up to the cut."""
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(len(states))]
    rows = {1: [row("a", A)], 2: [row("b", A)], 3: [row("a", B), row("bb", A)],
            4: [], 5: [row("a", None), row("b", A)], 6: [row("bb", B), row("ccc", A)]}  # fmt: skip
    snapshots = tuple(
        Snapshot(day, {str(r[0]): r for r in rows[state]})
        for day, state in zip(days, states, strict=True)
    )
    whole, part = follow(snapshots), follow(snapshots[:cut])
    upto = days[min(cut, len(days)) - 1] if cut else date.min
    for short, long in zip(part, whole, strict=False):
        assert long.seen[:cut] == short.seen
        assert tuple(n for n in long.names if n[0] <= upto) == short.names
    assert all(set(life.seen[:cut]) == {None} for life in whole[len(part) :] if cut)


def test_each_kind_of_departure() -> None:
    """One station at a time: as agreed, or drift, replaced, renamed, new, gone, and so on."""
    a, bb = row("a", A), row("bb", B)
    drifted = row("a", A, channel="20")
    assert found(facts(exports([a], [a]), *agreed(a))) == []
    assert found(facts(exports([a], [drifted]), *agreed(a))) == [("a", "channel", DriftKind.DRIFT)]
    swapped = row("a", C, hardware="outdoor")
    assert found(facts(exports([a], [swapped]), *agreed(a))) == [
        ("a", "eui64", DriftKind.REPLACED),
        ("a", "hardware", DriftKind.REPLACED),
    ]
    renamed = row("b", A, ip_address=a[5], name=a[9], place=a[11])
    assert found(facts(exports([a], [renamed]), *agreed(a))) == [
        ("b", "station", DriftKind.RENAMED)
    ]
    assert found(facts(exports([a], [a, bb]), *agreed(a))) == [("bb", "station", DriftKind.NEW)]
    assert found(facts(exports([a, bb], [a]), *agreed(a, bb))) == [
        ("bb", "station", DriftKind.GONE)
    ]
    assert found(facts(exports([drifted], [a]), *agreed(a, on=DAYS[0]))) == [
        ("a", "channel", DriftKind.REVERTED)
    ]
    assert found(facts(exports([a], [drifted], [a]), *agreed(a))) == [
        ("a", "channel", DriftKind.BACK)
    ]
    assert found(facts(exports([a]), *agreed(a))) == [("a", "station", DriftKind.UNSEEN)]


def test_a_departure_says_since_when_it_stands_and_who_approved_last() -> None:
    """First seen is the export that began the unbroken departure, whatever came before."""
    a, drifted = row("a"), row("a", port="1")
    one = only(facts(exports([a], [drifted], [a], [drifted]), *agreed(a)))

    assert (one.first_seen, one.stood_days) == (DAYS[3], 0)
    assert (one.approved_by, one.approved_on) == ("P. Approver", DAYS[0])
    two = only(facts(exports([a], [drifted], [row("a", port="2")]), *agreed(a)))
    assert (two.first_seen, two.stood_days, two.found) == (DAYS[1], 61, "2")


def story(*states: tuple[date, str], to_channel: int = 20, **of: object) -> ChangeStory:
    """Return a change of station a with what became of it."""
    change = Change(
        change="C1", plan="P1", store="S1", station="a", from_channel=15, to_channel=to_channel,
        position=1, parking=False, clear_air_before=0.5, clear_air_after=0.9, labels=100,
        sureness="high", proposed_by="R. Proposer", proposed_on=DAYS[0],
        clear_air_before_low=0.4, clear_air_before_high=0.6, clear_air_after_low=0.8,
        clear_air_after_high=0.95, chance=0.99, free_of_own_before=None, group_no=None, facts=None,
        pan_id=None, tx_power_dbm=None, name=None,
    )  # fmt: skip
    events = tuple(
        replace(
            new_event("C1", ChangeState(state), datetime.combine(day, time()), "P. Approver"),
            seq=seq,
        )
        for seq, (day, state) in enumerate(states, start=1)
    )
    return ChangeStory(replace(change, **of), events)  # type: ignore[arg-type]  # fields by name


MOVED = (row("a"), row("a", channel="20"))
APPROVED = ((DAYS[0], "proposed"), (DAYS[0], "approved"))


@pytest.mark.parametrize(
    ("states", "kind"),
    [
        (APPROVED, DriftKind.APPROVED),
        ((*APPROVED, (DAYS[1], "implemented")), DriftKind.APPROVED),
        ((*APPROVED, (DAYS[1], "ineffective")), DriftKind.APPROVED),
        (((DAYS[0], "proposed"),), DriftKind.DRIFT),
        ((*APPROVED, (DAYS[1], "refused")), DriftKind.DRIFT),
        ((*APPROVED, (DAYS[1], "lapsed")), DriftKind.DRIFT),
        ((*APPROVED, (DAYS[1], "backed out")), DriftKind.DRIFT),
        ((*APPROVED, (DAYS[1], "verified")), DriftKind.DRIFT),
    ],
)
def test_the_register_approves_what_is_under_way(
    states: tuple[tuple[date, str], ...], kind: DriftKind
) -> None:
    """An approved change covers its channel; a refused, lapsed or undone one does not.

    A verified one has moved the baseline; where the baseline is elsewhere, it approves nothing.
    """
    before, after = MOVED
    known = replace(facts(exports([before], [after]), *agreed(before)), changes=(story(*states),))
    assert only(known).kind == kind


def test_an_approval_does_not_outlive_the_next_baseline() -> None:
    """What was agreed anew after a change's last event ends what that change approved."""
    before, after = MOVED
    anew = agreed(before, on=DAYS[2], version=2)
    changes = (story(*APPROVED, (DAYS[1], "implemented")),)
    known = facts(exports([before], [before], [before], [after]), *agreed(before), *anew)
    assert only(replace(known, changes=changes)).kind == DriftKind.DRIFT


def test_a_parking_step_is_approved_while_its_plan_is_under_way() -> None:
    """A verified parking step covers its channel until the plan's last step is verified too."""
    before, after = MOVED
    parked = story(*APPROVED, (DAYS[1], "verified"), parking=True)
    last = story(*APPROVED, to_channel=25, change="C2")
    known = facts(exports([before], [after]), *agreed(before))
    assert only(replace(known, changes=(parked, last))).kind == DriftKind.APPROVED
    assert only(replace(known, changes=(parked,))).kind == DriftKind.DRIFT


def test_a_change_on_the_last_night_counts_once() -> None:
    """Found in one quarter and verified in the next, or the other way round: one row in all."""
    before, after = MOVED
    q4 = Span(DAYS[-1], date(2026, 12, 31))
    later = date(2026, 10, 2)
    verified = Baseline(2, "S1", "a", "channel", "20", "P. Approver", later, "verified", "C1")
    changes = (story(*APPROVED, (DAYS[3], "implemented"), (later, "verified")),)
    evening = Snapshot(later, {"a": after})

    found_then = facts((*exports([before], [before], [before], [after]), evening),
                       *agreed(before), verified)  # fmt: skip
    found_then = replace(found_then, changes=changes)
    assert found(found_then) == [("a", "channel", DriftKind.APPROVED)]
    assert found(found_then, q4) == []

    found_later = facts((*exports([before], [before], [before], [before]), evening),
                        *agreed(before), verified)  # fmt: skip
    found_later = replace(found_later, changes=changes)
    assert found(found_later) == []
    assert found(found_later, q4) == [("a", "channel", DriftKind.APPROVED)]


@pytest.mark.parametrize(
    ("rule", "subject", "since", "until", "kind"),
    [
        ("channel-not-permitted", "a", date.min, DAYS[3], DriftKind.DEVIATION),
        ("drift", "*", date.min, DAYS[3], DriftKind.DEVIATION),
        ("drift-channel", "a", date.min, DAYS[3], DriftKind.DEVIATION),
        ("drift-pan-id", "a", date.min, DAYS[3], DriftKind.DRIFT),
        ("channel-busy", "a", date.min, DAYS[3], DriftKind.DRIFT),
        ("channel-not-permitted", "bb", date.min, DAYS[3], DriftKind.DRIFT),
        ("channel-not-permitted", "a", date.min, DAYS[2], DriftKind.DRIFT),
        ("channel-not-permitted", "a", date(2026, 10, 1), date(2027, 1, 1), DriftKind.DRIFT),
    ],
)
def test_an_exception_makes_a_deviation(
    rule: str, subject: str, since: date, until: date, kind: DriftKind
) -> None:
    """It must judge that field, name that station, be on file by then and not have run out."""
    before, after = MOVED
    on_file = OnFile(rule, subject, "trial", "P. Approver", until, since, None)
    known = facts(exports([before], [after]), *agreed(before))
    assert only(replace(known, exceptions=(on_file,))).kind == kind


def test_every_rule_named_for_a_field_exists() -> None:
    """A field's exceptions are to rules there are; a rule about something else excepts none."""
    assert excepts("pan-id-repeated", "pan_id")
    assert not excepts("pan-id-repeated", "channel")
    assert not any(excepts("survey-stale", name) for name in FIELDS)
    checkout = Path(__file__).parents[1]
    with (checkout / "pipeline" / "audit" / "exception_fields.csv").open(encoding="utf-8") as lines:
        named = list(csv.DictReader(lines))
    rules = {path.stem for path in (checkout / "sql" / "rules").glob("*.sql")}
    assert {one["rule"] for one in named} <= rules
    assert {one["field"] for one in named} <= set(FIELDS)


def test_without_a_baseline_the_export_before_is_the_measure() -> None:
    """Differences to it are told, once, and say that nothing was agreed."""
    before, after = MOVED
    known = facts(exports([before], [after]))
    one = only(known)
    assert (one.kind, one.basis, one.approved_by) == (DriftKind.DRIFT, "earlier export", None)
    assert found(known, Span(DAYS[1], DAYS[2])) == [("a", "station", DriftKind.UNSEEN)]


def test_a_station_never_agreed_on_is_held_against_its_first_export() -> None:
    """A store new to the exports departs from nothing, nor does a station that joins it."""
    here, there = row("a"), row("bb", B)
    assert found(facts(exports([], [here], [here, there])[1:])) == []
    moved = row("bb", B, channel="20")
    one = only(facts(exports([here], [here, there], [here, moved])))
    assert (one.subject, one.field, one.basis) == ("bb", "channel", "earlier export")


def test_what_differed_before_the_first_run_differs_from_nothing_agreed() -> None:
    """Exports older than the first run are history: nobody could have agreed to them."""
    before, after = MOVED
    known = facts(exports([before], [after], [after], [row("a", channel="25")]))
    assert only(replace(known, first_run=DAYS[2])).agreed == "20"
    assert found(replace(known, first_run=DAYS[3])) == []


def verified(channel: str, day: date) -> Baseline:
    """Return what a verified change moves, without a baseline before it."""
    return Baseline(1, "S1", "a", "channel", channel, "P. Approver", day, "change verified", "C1")


def test_a_verified_change_is_agreed_without_a_baseline() -> None:
    """It is told once as approved; what departs from it later is drift until it is settled."""
    before, after = MOVED
    changes = (story(*APPROVED, (DAYS[1], "verified")),)
    known = facts(exports([before], [after], [after], [before]), verified("20", DAYS[1]))
    known = replace(known, changes=changes)
    early, late = Span(DAYS[0], DAYS[2]), Span(DAYS[2], DAYS[3])
    assert found(known, early) == [("a", "channel", DriftKind.APPROVED)]
    one = only(known, late)
    assert (one.kind, one.agreed, one.found, one.basis) == ("drift", "20", "15", "baseline")
    q4 = Span(DAYS[3], date(2026, 12, 31))
    again = replace(known, snapshots=(*known.snapshots, Snapshot(q4.end, {"a": before})))
    assert only(again, q4).first_seen == DAYS[3]


def test_a_change_done_otherwise_is_held_against_its_order() -> None:
    """The channel to put it on is the one approved, not the one of before."""
    before, _ = MOVED
    changes = (story(*APPROVED, (DAYS[1], "ineffective")),)
    for agreements in ((), agreed(before)):
        known = facts(exports([before], [row("a", channel="26")]), *agreements)
        one = only(replace(known, changes=changes))
        assert (one.kind, one.agreed, one.found, one.change) == ("drift", "20", "26", "C1")


def test_another_channel_may_be_ordered() -> None:
    """Found there it is as ordered; on the channel proposed it is done differently."""
    before, proposed = MOVED
    seen = row("a", channel="25")
    ordered = story(*APPROVED, (DAYS[1], "implemented"))
    events = [replace(e, channel=25) if e.state == "approved" else e for e in ordered.events]
    changes = (replace(ordered, events=tuple(events)),)
    for last, kind, by_order in (
        (seen, "approved change", "as ordered"),
        (proposed, "drift", "done differently"),
    ):
        one = only(replace(facts(exports([before], [last]), *agreed(before)), changes=changes))
        assert (one.kind, one.by_order) == (kind, by_order)
    assert one.agreed == "25"


def test_what_an_order_could_not_have_caused_is_nobodys() -> None:
    """A channel found on the day of the approval, or that of before, is not the order's doing."""
    before, other = row("a", channel="11"), row("a", channel="26")
    late = story((DAYS[0], "proposed"), (DAYS[1], "approved"))
    known = facts(exports([before], [other]), *agreed(before))
    assert only(replace(known, changes=(late,))).by_order == "not ordered"
    back = facts(exports([before], [row("a")], [row("a")]), *agreed(before))
    assert only(replace(back, changes=(late,))).by_order == "not ordered"
    again = facts(exports([before], [other], [other]), *agreed(before))
    assert only(replace(again, changes=(late,))).by_order == "done differently"


def test_what_was_ordered_and_put_back_is_undone() -> None:
    """Found as ordered and then back within the quarter, or in the next one."""
    before, after = MOVED
    changes = (story(*APPROVED, (DAYS[1], "implemented"), (DAYS[2], "backed out")),)
    known = facts(exports([before], [after], [before]), *agreed(before))
    known = replace(known, changes=changes)
    assert only(known).by_order == "undone"
    assert only(known, Span(DAYS[1], DAYS[2])).by_order == "undone"


def test_departures_alike_within_a_week_have_one_cause() -> None:
    """Three stations or more, first seen within seven days; all others stand alone."""
    one = only(facts(exports([row("a")], [row("a", firmware="2")]), *agreed(row("a"))))
    days = [date(2026, 9, 6 + n) for n in (0, 3, 6, 7, 8, 9)]
    rows = [replace(one, subject=f"s{n}", first_seen=day) for n, day in enumerate(days)]
    first, second = with_causes(rows)[:3], with_causes(rows)[3:]
    assert len({row.cause for row in first}) == len({row.cause for row in second}) == 1
    assert first[0].cause != second[0].cause
    assert [row.cause for row in with_causes(rows[:3])] == [row.cause for row in first]
    few = with_causes([*rows[:2], replace(rows[2], found="3")])
    assert len({row.cause for row in few}) == 3
    assert with_causes([replace(one, kind="deviation")])[0].cause is None


def test_quarters_follow_the_calendar() -> None:
    """Every day lies in one quarter; quarters meet without a gap."""
    quarters = list(quarters_to(date(2023, 11, 5), Quarter(2026, 3)))
    assert [q.name for q in quarters[:3]] == ["2023-Q4", "2024-Q1", "2024-Q2"]
    assert quarters[-1].last == date(2026, 9, 30)
    for one, after in pairwise(quarters):
        assert one.last + timedelta(days=1) == after.first
        assert quarter_of(one.last) == one
    assert read_quarter(" 2026-q3 ") == Quarter(2026, 3)
    with pytest.raises(QuarterUnreadable, match="2026-Q3"):
        read_quarter("Q3 2026")


def test_where_nothing_tells_the_name_decides() -> None:
    """Hardware exchanged between stations of which nothing else is known: the names stay."""
    bare = {"ip_address": None, "name": None, "mounted": None, "place": None}
    lives = follow(exports([row("a", A, **bare), row("bb", B, **bare)],
                           [row("a", B, **bare), row("bb", A, **bare)]))  # fmt: skip
    assert [[name for _, name in life.names] for life in lives] == [["a"], ["bb"]]


def test_a_baseline_approved_late_hides_no_departure() -> None:
    """The first baseline of a store, or the next: what it approved stays, with who and when.

    It is no longer open; and what departed before, approved now and by whom is listed apart.
    """
    before, after = MOVED
    seen = exports([before], [after], [after], [after])
    for first in ((), agreed(before)):
        known = facts(seen, *first, *agreed(after, on=DAYS[2], version=2))
        rows, approved = audited(story_of(known), Q3)
        [one] = rows
        assert (one.kind, one.by_order, one.agreed, one.found, one.stood_days) == (
            "approved afterwards", "not ordered", "15", "20", None,
        )  # fmt: skip
        assert (one.approved_by, one.approved_on) == ("P. Approver", DAYS[2])
        [swallowed] = approved
        assert swallowed.departure.agreed == "15"
        assert (swallowed.approval.value, swallowed.approval.reason) == ("20", "as built")
        later = Span(DAYS[2], DAYS[3])
        assert audited(story_of(known), later) == ((), ())


def test_an_approval_before_the_first_export_of_a_quarter_is_told() -> None:
    """An audit answered in the first days of the next quarter: that one says what was approved."""
    before, after = MOVED
    known = facts(exports([before], [after]), *agreed(before),
                  *agreed(after, on=DAYS[2], version=2))  # fmt: skip
    _, [swallowed] = audited(story_of(known), Span(DAYS[1], DAYS[3]))
    assert (swallowed.departure.agreed, swallowed.departure.found) == ("15", "20")
    assert swallowed.approval.approved_on == DAYS[2]


def test_what_departs_again_after_a_late_baseline_is_told_twice_over() -> None:
    """As it stands among the departures, as it was approved among the approvals."""
    before, after = MOVED
    seen = exports([before], [after], [after], [row("a", channel="25")])
    known = facts(seen, *agreed(before), *agreed(after, on=DAYS[2], version=2))
    [one], [swallowed] = audited(story_of(known), Q3)
    assert (one.kind, one.agreed, one.found) == ("drift", "20", "25")
    assert (swallowed.departure.agreed, swallowed.departure.found) == ("15", "20")


def test_work_done_differently_and_approved_late_stays_done_differently() -> None:
    """The approver's name settles it; the order that was not kept is still told."""
    before, other = row("a"), row("a", channel="26")
    changes = (story(*APPROVED, (DAYS[1], "ineffective")),)
    known = facts(exports([before], [other], [other], [other]), *agreed(before),
                  *agreed(other, on=DAYS[2], version=2))  # fmt: skip
    one = only(replace(known, changes=changes))
    assert (one.kind, one.by_order) == ("approved afterwards", "done differently")
    assert (one.agreed, one.found, one.change) == ("20", "26", "C1")


def test_a_new_station_that_is_approved_is_one_row() -> None:
    """Its fields were not agreed before, so they did not move; nor does it stand any more."""
    a, bb = row("a", A), row("bb", B)
    anew = agreed(a, bb, on=DAYS[2], version=2)
    one = only(facts(exports([a], [a, bb], [a, bb], [a, bb]), *agreed(a), *anew))
    assert (one.subject, one.field, one.kind) == ("bb", "station", DriftKind.ACCEPTED)
    assert (one.agreed, one.found, one.stood_days) == (None, "bb", None)


def test_a_name_taken_later_does_not_reach_back() -> None:
    """A baseline for a station never seen means the same, whoever takes its name afterwards."""
    a, x = row("a", A), row("x", A)
    span = Span(DAYS[0], DAYS[1])
    then = facts(exports([a], [a]), *agreed(a, x))
    later = facts(exports([a], [a], [x]), *agreed(a, x))
    assert found(then, span) == found(later, span) == [("x", "station", DriftKind.GONE)]
