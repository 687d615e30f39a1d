"""Decisions as orders: another channel, the end of a refusal, and groups that are one decision."""

from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path

import polars as pl
import pytest
from changes_book import book_of
from changes_kit import (
    BY,
    at,
    chain,
    export_says,
    group_up,
    labels_say,
    names,
    plan_says,
    readings_say,
    set_limits,
    settings_in,
    speak_of,
    states,
)

from pipeline.audit.history import LineKind, life
from pipeline.changes.decisions import Taken, decide
from pipeline.changes.register import append, history, propose
from pipeline.changes.states import PROGRAM, ChangeState, Trigger, new_event
from pipeline.changes.verify import not_as_ordered, verify
from pipeline.database import Database
from pipeline.forms import ANOTHER, DECISIONS, RESULTS
from pipeline.records import OrderPrice
from pipeline.settings import Settings
from pipeline.survey.evidence import survey

MOVES = {
    "A": (("A-01", 15, 26, True), ("A-02", 20, 15, False), ("A-01", 26, 20, False)),
    "B": (("B-01", 11, 25, False),),
    "S": (("S-01", 15, 20, False), ("S-02", 20, 15, False), ("S-03", 11, 25, False)),
}
DAY, LATER = date(2026, 10, 5), date(2026, 10, 12)
NEXT = date(2026, 12, 31)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Give settings with two approvers, one of whom proposes."""
    return settings_in(tmp_path)


@pytest.fixture
def proposed(tmp_path: Path, settings: Settings) -> Iterator[Database]:
    """Give a register in which two stations of store S swap channels."""
    with chain(tmp_path, MOVES) as database:
        set_limits(database, settings)
        group_up(database, {"S-01": 1, "S-02": 1, "S-03": 2})
        propose(database, settings)
        yield database


def price(_store: str, before: Mapping[str, int], after: Mapping[str, int]) -> OrderPrice:
    """Price every station that is not as proposed at 3.1 points."""
    other = sum(before[station] != after[station] for station in after)
    return OrderPrice(-0.031 * other, dict.fromkeys(after, (0.71, 0.66, 0.75)))


def said(taken: Taken) -> list[tuple[str | None, str]]:
    """Return cell and sentence of every refusal."""
    return [(one.cell, one.sentence) for one in taken.refusals]


def story(database: Database, change: str, *columns: str) -> tuple[object, ...]:
    """Return columns of the story of a change."""
    chosen = ", ".join(columns)
    (row,) = database.connection.execute(
        f"select {chosen} from change_story where change = ?",  # noqa: S608 - columns named in the tests
        [change],
    ).fetchall()
    return tuple(row)


def test_another_channel_is_ordered_priced_and_promised(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """The proposal stays as it was; the order has its own promise, and its workbook."""
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path, "sent back").decide(change, ANOTHER)
    path = book.fill(DECISIONS, change, other=20).saved()

    (taken,) = decide(proposed, settings, [path], price=price)

    assert (taken.decisions, taken.refusals) == (1, ())
    (told,) = taken.priced
    assert told == (
        "B-01: channel 20 instead of 25 costs 3.1 points of the store's clear air; "
        "clear air 71% promised (66% to 75%), 80% as proposed"
    )
    columns = ("decision", "to_channel", "ordered_channel", "promised", "workbook")
    ordered = (ANOTHER, 25, 20, 0.71, "sent back.xlsx")
    assert story(proposed, change, *columns) == ordered
    (again,) = decide(proposed, settings, [path], price=price)
    assert (again.decisions, again.repeated, again.refusals) == (0, 1, ())

    left = new_event(change, ChangeState.APPROVED, at(LATER), "team", "", "not done")
    append(proposed, Trigger.RESULT, [left])
    assert story(proposed, change, *columns) == ordered
    last = history(proposed)[-1]
    assert (last.channel, last.promised, last.promised_low) == (20, 0.71, 0.66)
    speak_of(proposed, LATER)
    export_says(proposed, LATER, {"B-01": 11})
    lines = [line.text for line in life(proposed, "B", "B-01") if line.what is LineKind.REGISTER]
    assert lines == [
        f"change {change}, channel 11 to 25: proposed",
        f"change {change}, channel 11 to 20: approved with another channel than proposed",
        f"change {change}, channel 11 to 20: not done",
    ]


def test_work_is_judged_by_the_promise_of_the_channel_ordered(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """A tenth of the time busy: well below what was proposed, and as ordered."""
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path).decide(change, ANOTHER)
    decide(proposed, settings, [book.fill(DECISIONS, change, other=20).saved()], price=price)
    speak_of(proposed, NEXT)
    export_says(proposed, NEXT, {"B-01": 20})
    readings_say(proposed, "B-01", 20, {-95: 400})
    survey(proposed, settings)

    (check,) = verify(proposed, settings)

    assert (check.ordered_channel, check.channel_found, check.promised) == (20, 20, 0.71)
    assert (check.state, check.result) == ("verified", "done")
    assert story(proposed, change, "closed", "promised") == ("as ordered", 0.71)


WRONG: list[tuple[dict[str, object], str, str]] = [
    ({"decision": "approved", "other": 20}, "other", "goes here only with the decision 'approved "),
    ({"decision": "refused", "other": 20}, "other", "a channel goes here only with the decision"),
    ({"decision": ANOTHER}, "other", "needs the channel here: choose one of 15, 20, 26"),
    ({"decision": ANOTHER, "other": "20 or 26"}, "other", "'20 or 26' is not a channel; write"),
    ({"decision": ANOTHER, "other": "=20"}, "other", "it holds a formula; type the value itself"),
    ({"decision": ANOTHER, "other": 25}, "other", "channel 25 is the one proposed: choose 'appr"),
    ({"decision": ANOTHER, "other": 11}, "other", "B-01 is on channel 11 as it is: refuse the"),
    ({"decision": ANOTHER, "other": 18}, "other",
     "channel 18 is not permitted in store B: choose one of 15, 20, 26"),
    ({"decision": "approved", "until": LATER}, "until", "a day goes here only with the decision"),
    ({"decision": "refused", "until": DAY}, "until", "2026-10-05 is not after the day of the dec"),
    ({"decision": "refused", "until": "spring"}, "until", "'spring' is not a date; write it as"),
    ({"decision": "refused", "until": "2206-01-01"}, "until", "is more than 10 years after"),
]  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_ordered_is_refused_in_its_cell(
    case: tuple[dict[str, object], str, str],
    proposed: Database,
    settings: Settings,
    tmp_path: Path,
) -> None:
    """With what to do, and the channels that can be chosen."""
    cells, key, sentence = case
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path)
    book.decide(change, "approved", day=DAY).fill(DECISIONS, change, **cells)

    (taken,) = decide(proposed, settings, [book.saved()])

    ((cell, why),) = said(taken)
    assert cell == book.place(DECISIONS, change, key)
    assert sentence in why
    assert states(proposed)[change] == "proposed"


def test_no_channel_is_ordered_that_a_label_does_not_listen_on(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """The channels named are those that every label that says so listens on."""
    labels_say(proposed, "B-01", date(2026, 9, 30), range(3))
    proposed.connection.execute("update label_seen set channels = '11 15 25 26'")
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path).decide(change, ANOTHER)
    book.fill(DECISIONS, change, other=20)

    (taken,) = decide(proposed, settings, [book.saved()])
    assert [why for _, why in said(taken)] == [
        "3 labels of store B do not listen on channel 20: choose one of 15, 26"
    ]
    (taken,) = decide(proposed, settings, [book.fill(DECISIONS, change, other=26).saved()])
    assert (taken.decisions, taken.refusals) == (1, ())


def test_another_channel_is_ordered_at_the_last_step_of_a_way(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """A step to a parking channel is approved as it is."""
    first, other, last = names(proposed, "A")
    book = book_of(proposed, "A", tmp_path)
    for change in (first, other, last):
        book.decide(change, "approved")
    book.fill(DECISIONS, first, decision=ANOTHER, other=25)
    (taken,) = decide(proposed, settings, [book.saved()], all_or_nothing=True)
    assert f"order another channel in the row of its last step, {last}" in said(taken)[0][1]

    book.fill(DECISIONS, first, decision="approved", other=None)
    book.fill(DECISIONS, last, decision=ANOTHER, other=25)
    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (3, ())
    assert [story(proposed, c, "ordered_channel") for c in (first, last)] == [(26,), (25,)]


def test_an_order_may_be_changed_and_nothing_is_ordered_twice(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """A later day and another channel make a new order; what holds already is refused."""
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path).decide(change, "approved", day=DAY)
    decide(proposed, settings, [book.saved()])
    (taken,) = decide(proposed, settings, [book.decide(change, "approved", day=LATER).saved()])
    assert [why for _, why in said(taken)] == [
        f"change {change} is approved already, since 2026-10-05"
    ]
    book.decide(change, ANOTHER, day=LATER).fill(DECISIONS, change, other=26)
    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (1, ())

    speak_of(proposed, NEXT)
    export_says(proposed, NEXT, {"B-01": 20})
    survey(proposed, settings)
    (check,) = verify(proposed, settings)
    assert (check.result, check.follows) == (
        "done differently", "move it to channel 26 on the next visit, or approve channel 20",
    )  # fmt: skip
    after = date(2027, 1, 4)
    book.decide(change, ANOTHER, day=after).fill(DECISIONS, change, other=20)
    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (1, ())
    assert story(proposed, change, "ordered_channel", "closed") == (20, None)


def test_workbooks_that_order_different_channels_disagree(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """Both are refused, and each names the other's place and channel."""
    (change,) = names(proposed, "B")
    books = [book_of(proposed, "B", tmp_path, name) for name in ("one", "two")]
    for book, channel in zip(books, (20, 26), strict=True):
        book.decide(change, ANOTHER).fill(DECISIONS, change, other=channel).saved()

    taken = decide(proposed, settings, [book.path for book in books])

    (((_, one),), ((_, two),)) = map(said, taken)
    assert f"it says approved on channel 20 for change {change}, but" in one
    assert one.endswith("says approved on channel 26")
    assert two.endswith("says approved on channel 20")


def test_half_a_swap_is_refused_with_its_price_unless_it_is_split_by_name(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """One approved, and the other refused or left open: in the cell, with what to do."""
    one, two, alone = names(proposed, "S")
    book = book_of(proposed, "S", tmp_path).decide(one, "approved").decide(alone, "refused")
    for half in (book, book.decide(two, "refused")):
        (taken,) = decide(proposed, settings, [half.saved()], all_or_nothing=True, price=price)
        assert taken.decisions == 0
        (sentence,) = {why for _, why in said(taken)}
        assert sentence == (
            f"S-01 and S-02 need one another: decide the same for {one} and {two}, or write "
            "'split' in the remark of one of them, which costs 3.1 points of the store's clear air"
        )
        assert said(taken)[0][0] == book.place(DECISIONS, one, "decision")

    book.decide(one, "approved", note="Getrennt, der Markt will es so")
    (taken,) = decide(proposed, settings, [book.saved()], price=price)
    assert (taken.decisions, taken.refusals) == (3, ())
    (told,) = taken.priced
    assert told == (
        "S-01 and S-02: doing only part of what needs one another costs 3.1 points of the "
        "store's clear air"
    )
    found = states(proposed)
    assert [found[c] for c in (one, two, alone)] == ["approved", "refused", "refused"]


def test_a_group_approved_in_parts_over_time_is_whole(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """What is on file counts: the approval of one cannot be taken back alone."""
    one, two, _ = names(proposed, "S")
    book = book_of(proposed, "S", tmp_path).decide(one, "approved").decide(two, "approved")
    decide(proposed, settings, [book.saved()])
    (taken,) = decide(proposed, settings, [book.decide(two, "refused", day=LATER).saved()])
    assert "S-01 and S-02 need one another" in said(taken)[0][1]
    book.decide(one, "refused", day=LATER)
    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (2, ())


def test_a_refusal_has_an_end_and_may_be_given_another(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """It is kept with the decision; the same again is nothing new."""
    (change,) = names(proposed, "B")
    until = date(2027, 2, 1)
    book = book_of(proposed, "B", tmp_path).decide(change, "refused", note="refit")
    decide(proposed, settings, [book.fill(DECISIONS, change, until=until).saved()])
    assert story(proposed, change, "decision", "refused_until") == ("refused", until)

    (taken,) = decide(proposed, settings, [book.decide(change, "refused", day=LATER).saved()])
    assert "is refused until 2027-02-01 already, since 2026-10-05" in said(taken)[0][1]
    book.fill(DECISIONS, change, until=date(2027, 6, 1))
    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (1, ())
    assert story(proposed, change, "refused_until") == (date(2027, 6, 1),)


def test_a_new_plan_keeps_what_was_approved_and_it_asks_for_too(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """S-01 was ordered to 26: it is approved in the new plan; what that leaves out lapses."""
    one, two, alone = names(proposed, "S")
    book = book_of(proposed, "S", tmp_path, "decided")
    for change in (one, two, alone):
        book.decide(change, "approved")
    book.fill(DECISIONS, one, decision=ANOTHER, other=26)
    decide(proposed, settings, [book.saved()])
    speak_of(proposed, LATER)
    plan_says(proposed, {**MOVES, "S": (("S-01", 15, 26, False), ("S-03", 11, 20, False))})

    (new,) = propose(proposed, settings)

    assert (new.store, new.moves, new.lapsed, new.freed) == ("S", 2, 3, 2)
    kept, open_one = names(proposed, "S")[3:]
    columns = ("state", "ordered_channel", "decision", "decided_by", "workbook")
    assert story(proposed, kept, *columns) == ("approved", 26, "approved", BY, "decided.xlsx")
    assert story(proposed, open_one, "state") == ("proposed",)
    plan = one.partition("-")[0]
    assert story(proposed, kept, "decided_note") == (f"approved on 2026-10-05 in plan {plan}",)
    assert propose(proposed, settings) == ()
    # Repeated, not entered: the same exports and decisions are still the same run.
    assert new.carried == 1
    entered = proposed.column("run", "told_by_people", {"program": PROGRAM})
    assert [line.split()[:2] for line in entered] == [[c, "approved"] for c in (one, two, alone)]
    # Of the three orders one goes on, two were given up.
    assert not_as_ordered(proposed, ["S"]) == {"not done": 2}

    speak_of(proposed, NEXT)
    plan_says(proposed, {**MOVES, "S": (("S-01", 15, 26, False), ("S-02", 20, 11, False))})
    propose(proposed, settings)
    (again, *_) = names(proposed, "S")[5:]
    day = date(2026, 10, 5)
    assert story(proposed, again, "decided_on", "decided_by", "waits_since") == (day, BY, day)
    assert story(proposed, again, "decided_note") == (f"approved on {day} in plan {plan}",)
    assert not_as_ordered(proposed, ["S"]) == {"not done": 2}
    quarter = {"quarter": ["2026-Q4"], "first": [date(2026, 10, 1)], "last": [NEXT]}
    with proposed.lent("incoming", pl.DataFrame(quarter)):
        proposed.run("audit", "figures_of_changes")
    told = proposed.connection.execute("select state, changes from audit_change").fetchall()
    assert dict(told) == {"decision": 4, "lapsed": 1, "night": 1, "not done": 2}


def test_a_workbook_sent_out_by_an_earlier_version_is_read(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """It lacks the columns that came later."""
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path).decide(change, "approved")
    sheet = book.sheet(DECISIONS)
    for key in DECISIONS.later:
        keys = [cell.value for cell in sheet[3]]
        sheet.delete_cols(keys.index(key) + 1)
    copy = book.book["Register"]
    for row in reversed(range(1, copy.max_row + 1)):
        if copy.cell(row, 3).value in DECISIONS.later:
            copy.delete_rows(row)

    (taken,) = decide(proposed, settings, [book.saved()])
    assert (taken.decisions, taken.refusals) == (1, ())


def test_results_name_the_channel_ordered(
    proposed: Database, settings: Settings, tmp_path: Path
) -> None:
    """A workbook from before the order or from after it is taken; another channel is an edit."""
    (change,) = names(proposed, "B")
    book = book_of(proposed, "B", tmp_path).decide(change, ANOTHER)
    decide(proposed, settings, [book.fill(DECISIONS, change, other=20).saved()])
    book.fill(RESULTS, change, done_at=at(LATER), outcome="done", by="team", to=26)
    del book.book["Register"]
    (taken,) = decide(proposed, settings, [book.saved()])
    assert "it now says '26' and was '25'" in said(taken)[0][1]
    (taken,) = decide(proposed, settings, [book.fill(RESULTS, change, to=20).saved()])
    assert (taken.results, taken.refusals) == (1, ())
