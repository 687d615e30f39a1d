"""Workbooks that come back: what is taken, what is refused and where, and nothing twice."""

import random
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from changes_book import TOP, Book, book_of, reordered, reversed_rows
from changes_kit import BY, Moves, chain, names, plan_says, settings_in, speak_of, states
from openpyxl import load_workbook

from pipeline.changes.decisions import Taken, decide
from pipeline.changes.register import history, propose
from pipeline.database import Database
from pipeline.errors import NothingToProve
from pipeline.forms import CHANGE, COPY, DECISIONS, MOVES, RESULTS
from pipeline.report.write import write_originals
from pipeline.settings import Settings

MOVED: Moves = {
    "A": (("A-01", 15, 26, True), ("A-02", 20, 15, False), ("A-01", 26, 20, False)),
    "B": (("B-01", 11, 25, False), ("B-02", 15, 20, False), ("B-03", 20, 11, False)),
}


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Give settings with two approvers, one of whom proposes."""
    return settings_in(tmp_path)


@pytest.fixture
def proposed(tmp_path: Path, settings: Settings) -> Iterator[Database]:
    """Give a register with the plans of two stores."""
    with chain(tmp_path, MOVED) as database:
        propose(database, settings)
        yield database


@pytest.fixture
def back(tmp_path: Path) -> Path:
    """Give the folder of workbooks that came back."""
    folder = tmp_path / "back"
    folder.mkdir()
    return folder


def said(taken: Taken) -> list[tuple[str | None, str | None, str]]:
    """Return sheet, cell and sentence of every refusal."""
    return [(one.sheet, one.cell, one.sentence) for one in taken.refusals]


def test_decisions_are_taken_with_who_when_and_why(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """One approved, one refused, one deferred: each event has name, day and note."""
    first, second, third = names(proposed, "B")
    book = book_of(proposed, "B", back).decide(first, "approved")
    book.decide(second, "Refused ", by="t. aldervane", note="refit in  spring")
    book.decide(third, "zurückgestellt", day="06.10.2026").saved()

    (taken,) = decide(proposed, settings, [back])

    assert (taken.store, taken.decisions, taken.results, taken.refusals) == ("B", 3, 0, ())
    events = {event.change: event for event in history(proposed) if event.state != "proposed"}
    told = [events[change] for change in (first, second, third)]
    assert [(e.state, e.at, e.by, e.note) for e in told] == [
        ("approved", datetime(2026, 10, 5), BY, ""),
        ("refused", datetime(2026, 10, 5), BY, "refit in spring"),
        ("deferred", datetime(2026, 10, 6), BY, ""),
    ]  # fmt: skip


def test_a_decision_is_shown_in_its_original(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """File, cell, name and day as they were written; the workbook as it came, octet by octet."""
    first, second, _ = names(proposed, "B")
    book = book_of(proposed, "B", back).decide(first, "approved")
    path = book.decide(second, "refused", by=" t.  aldervane", day="06.10.2026").saved()
    came = path.read_bytes()
    decide(proposed, settings, [back])
    path.unlink()

    [line] = write_originals(proposed, back.parent / "shown", second)
    [kept] = (back.parent / "shown").iterdir()
    assert kept.read_bytes() == came
    assert kept.stem == sha256(came).hexdigest()
    [event] = [e for e in history(proposed) if e.change == second and e.state == "refused"]
    assert (event.workbook_sha256, event.by) == (kept.stem, BY)
    sheet, cell = str(event.cell).split("!")
    row = load_workbook(kept)[sheet][int(cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"))]
    written = {c.coordinate: c.value for c in row}
    assert written[cell] == "refused"
    assert {" t.  aldervane", "06.10.2026"} <= set(written.values())
    assert (event.by_written, event.at_written) == ("t. aldervane", "06.10.2026")
    assert f"refused by {BY} on 2026-10-06: 't. aldervane', '06.10.2026' in {event.cell}" in line
    with pytest.raises(NothingToProve, match="in a workbook that is kept"):
        list(write_originals(proposed, back, names(proposed, "B")[2]))


def test_the_same_workbook_twice_changes_nothing(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """Again, and a copy of it beside it, and after a later change of mind."""
    change = names(proposed, "B")[0]
    book_of(proposed, "B", back).decide(change, "approved").saved()
    decide(proposed, settings, [back])
    before = history(proposed)

    again = decide(proposed, settings, [back])
    assert [(one.decisions, one.repeated, one.refusals) for one in again] == [(0, 1, ())]
    book_of(proposed, "B", back, "copy").decide(change, "approved").saved()
    twice = decide(proposed, settings, [back])
    assert [(one.decisions, one.repeated, one.refusals) for one in twice] == [(0, 1, ())] * 2
    assert history(proposed) == before

    later = book_of(proposed, "B", back.parent, "later")
    later.decide(change, "refused", day=date(2026, 10, 7)).saved()
    decide(proposed, settings, [later.path])
    assert states(proposed)[change] == "refused"
    decide(proposed, settings, [back])
    assert states(proposed)[change] == "refused"


def test_sorted_rows_moved_columns_and_notes_are_accepted(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """The hidden keys find every column; further columns and rows are nobody's business."""
    changes = names(proposed, "B")
    book = book_of(proposed, "B", back)
    for change, word in zip(changes, ("approved", "refused", "deferred"), strict=True):
        book.decide(change, word)
    reversed_rows(book, DECISIONS)
    reordered(book, DECISIONS, lambda keys: random.Random(1).sample(keys, len(keys)))
    sheet = book.sheet(DECISIONS)
    sheet.insert_cols(4)
    sheet.cell(TOP - 2, 4).value = "my column"
    sheet.cell(TOP, 4).value = "call the store first"
    sheet.cell(TOP + 9, 1).value = "Discussed on the phone."
    book.book.create_sheet("Notes")["A1"] = "anything"
    book.saved()

    (taken,) = decide(proposed, settings, [back])

    assert (taken.decisions, taken.refusals) == (3, ())
    assert [states(proposed)[c] for c in changes] == ["approved", "refused", "deferred"]


WRONG: list[tuple[dict[str, object], str, str]] = [
    ({"decision": "maybe"}, "decision", "'maybe' is not one of approved, approved with another"),
    ({"decision": "verified"}, "decision", "'verified' is not one of approved"),
    ({"decision": 1}, "decision", "'1' is not one of approved"),
    ({"decision": "=A1"}, "decision", "it holds a formula; type the value itself"),
    ({"decision": None}, "decision", "it is empty, its row is not: choose one of approved"),
    ({"by": "N. Obody"}, "by", "is not an approver; the rules file names T. Aldervane, R. Q"),
    ({"by": None}, "by", "it does not say who decided"),
    ({"by": "R. Quellbach"}, "by", "R. Quellbach proposed this change and may not decide"),
    ({"date": None}, "date", "it has no date"),
    ({"date": "soon"}, "date", "'soon' is not a date; write it as 2026-10-05"),
    ({"date": "10/05/2026"}, "date", "is not a date"),
    ({"date": "2026-02-30"}, "date", "is not a date"),
    ({"date": True}, "date", "'True' is not a date"),
    ({"date": date(2026, 9, 29)}, "date", "2026-09-29 is before the plan's date, 2026-09-30"),
    ({"date": date(2026, 10, 21)}, "date", "is in the future; today is 2026-10-20"),
    ({"to": 26}, "to", "a locked cell was edited: it now says '26' and was '25'"),
    ({"station": "B-02"}, "station", "a locked cell was edited"),
    ({"name": "elsewhere"}, "name", "it now says 'elsewhere' and was 'aisle of B-01'"),
    ({"kind": None}, "kind", "it now says '' and was 'final'"),
    ({"clear_after": 0.99}, "clear_after", "it now says '0.99' and was '0.8'"),
]


@pytest.fixture(scope="module")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """Give one register for many tests, which take back what they add."""
    folder = tmp_path_factory.mktemp("lasting")
    with chain(folder, MOVED) as database:
        propose(database, settings_in(folder))
        yield database


@pytest.fixture
def shared(lasting: Database) -> Iterator[Database]:
    """Give that register as proposed, and take back what was added."""
    events = len(history(lasting))
    yield lasting
    lasting.connection.execute("delete from change_event where seq > ?", [events])


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_refused_with_its_cell_and_the_rest_taken(
    shared: Database, settings: Settings, back: Path, case: tuple[dict[str, object], str, str]
) -> None:
    """Store, sheet and cell are named; the other row is taken, unless it is all or nothing."""
    cells, key, sentence = case
    wrong, right, _ = names(shared, "B")
    book = book_of(shared, "B", back).decide(wrong, "approved").decide(right, "refused")
    place = book.fill(DECISIONS, wrong, **cells).place(DECISIONS, wrong, key)
    book.saved()
    today = date(2026, 10, 20)

    (nothing,) = decide(shared, settings, [back], all_or_nothing=True, today=today)
    assert nothing.decisions == 0
    assert states(shared)[right] == "proposed"
    (taken,) = decide(shared, settings, [back], today=today)

    assert taken.decisions == 1
    assert (states(shared)[wrong], states(shared)[right]) == ("proposed", "refused")
    (refusal,) = taken.refusals
    assert (refusal.workbook, refusal.store, refusal.sheet, refusal.cell) == (
        "back/B.xlsx", "B", "Decisions", place,
    )  # fmt: skip
    assert sentence in refusal.sentence
    assert str(refusal).startswith(f"back/B.xlsx: store B, sheet Decisions, cell {place}: ")


def test_a_date_far_from_the_plan_is_a_slip_of_the_pen(
    shared: Database, settings: Settings, back: Path
) -> None:
    """Without a day of today the rules file's limit bounds the day."""
    change = names(shared, "B")[0]
    book = book_of(shared, "B", back).decide(change, "approved", day=date(2027, 10, 5))
    book.saved()

    (taken,) = decide(shared, settings, [back])
    assert "more than 360 days after the plan's date" in said(taken)[0][2]


def test_an_edited_move_blocks_the_decision_that_rests_on_it(
    shared: Database, settings: Settings, back: Path
) -> None:
    """The list of moves is locked, too; sorting it is not editing it."""
    first, second, _ = names(shared, "B")
    book = book_of(shared, "B", back).decide(first, "approved").decide(second, "approved")
    sheet = book.book[MOVES]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)]
    for number, row in enumerate(reversed(rows), start=2):
        for at, value in enumerate(row, start=1):
            sheet.cell(number, at).value = value
    sheet["D4"] = 26  # where B-01 is to go
    sheet["H2"] = "a remark"
    book.saved()

    (taken,) = decide(shared, settings, [back])

    assert said(taken) == [
        (MOVES, "D4", "a locked cell was edited: the row of B-01 no longer says '25'")
    ]
    assert (states(shared)[first], states(shared)[second]) == ("proposed", "approved")


def test_an_unknown_change_and_one_of_another_plan_are_refused(
    shared: Database, settings: Settings, back: Path
) -> None:
    """A change that is not in the register, one of another store, and one without a name."""
    first, second, third = names(shared, "B")
    book = book_of(shared, "B", back)
    for change in (first, second, third):
        book.decide(change, "approved")
    cells = [book.place(DECISIONS, change, CHANGE) for change in (first, second, third)]
    for cell, value in zip(cells, ("0123456789-01", names(shared, "A")[1], None), strict=True):
        book.sheet(DECISIONS)[cell] = value
    book.saved()

    (taken,) = decide(shared, settings, [back])

    assert taken.decisions == 0
    assert [cell for _, cell, _ in said(taken)] == cells
    for sentence, words in zip(
        (sentence for _, _, sentence in said(taken)),
        ("has no change '0123456789-01'", "has no change '", "does not name a change"),
        strict=True,
    ):
        assert words in sentence


def test_a_stale_plan_is_refused_and_the_plan_in_force_named(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """Once another plan is in force, the old workbook decides nothing."""
    change = names(proposed, "B")[0]
    book_of(proposed, "B", back).decide(change, "approved").saved()
    speak_of(proposed, date(2026, 12, 31))
    plan_says(proposed, {**MOVED, "B": MOVED["B"][:1]})
    (new,) = propose(proposed, settings)

    (taken,) = decide(proposed, settings, [back])

    assert taken.decisions == 0
    assert f"plan {new.plan} of 2026-12-31 superseded it" in said(taken)[0][2]
    assert states(proposed)[change] == "lapsed"


def test_work_on_a_plan_that_lapsed_meanwhile_is_still_reported(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """The decisions its workbook shows are on file; only what is new in it is judged."""
    first, second, _ = names(proposed, "B")
    book = book_of(proposed, "B", back).decide(first, "approved").decide(second, "refused")
    book.fill(RESULTS, first, done_at=datetime(2026, 10, 20, 23), outcome="done", by="team")
    book.saved()
    decide(proposed, settings, [back])
    speak_of(proposed, date(2026, 12, 31))
    plan_says(proposed, {**MOVED, "B": (("B-03", 20, 26, False),)})
    propose(proposed, settings)
    undone = datetime(2027, 1, 4, 23)
    book.fill(RESULTS, first, done_at=undone, outcome="backed out").saved()

    (taken,) = decide(proposed, settings, [back], all_or_nothing=True)

    assert (taken.results, taken.repeated, taken.refusals) == (1, 2, ())
    assert states(proposed)[first] == "backed out"
    later = date(2027, 1, 5)
    book.decide(second, "approved", day=later).decide(first, "refused", day=later).saved()
    (taken,) = decide(proposed, settings, [back])
    assert [sentence.partition(":")[0] for _, _, sentence in said(taken)] == [
        f"plan {first.partition('-')[0]} of 2026-09-30 is no longer in force"
    ]
    assert states(proposed)[second] == "refused"


def test_workbooks_that_disagree_are_both_refused(
    shared: Database, settings: Settings, back: Path
) -> None:
    """What they agree on is taken; what they do not names both places."""
    first, second, _ = names(shared, "B")
    one = book_of(shared, "B", back, "one").decide(first, "approved").decide(second, "refused")
    two = book_of(shared, "B", back, "two").decide(first, "approved").decide(second, "approved")
    one.saved()
    two.saved()

    taken = decide(shared, settings, [one.path, two.path])

    assert [(t.decisions, t.repeated) for t in taken] == [(1, 0), (0, 1)]
    cell = one.place(DECISIONS, second, "decision")
    place = f"back/two.xlsx, sheet Decisions, cell {cell}"
    assert said(taken[0]) == [
        (DECISIONS.sheet, cell, f"it says refused for change {second}, but {place} says approved")
    ]
    assert said(taken[1])[0][2].startswith(
        f"it says approved for change {second}, but back/one.xlsx"
    )
    assert (states(shared)[first], states(shared)[second]) == ("approved", "proposed")


def test_a_workbook_held_back_does_not_stand_in_the_way_of_another(
    shared: Database, settings: Settings, back: Path
) -> None:
    """All or nothing: what one workbook may not give, the other one may."""
    first, second, _ = names(shared, "B")
    one = book_of(shared, "B", back, "one").decide(first, "approved").decide(second, "maybe")
    two = book_of(shared, "B", back, "two").decide(first, "approved", day=date(2026, 10, 9))
    taken = decide(shared, settings, [one.saved(), two.saved()], all_or_nothing=True)

    assert [(t.decisions, t.repeated) for t in taken] == [(0, 0), (1, 0)]
    assert states(shared)[first] == "approved"


def test_steps_over_a_parking_channel_are_decided_alike(
    shared: Database, settings: Settings, back: Path
) -> None:
    """Half a way is no decision: a station must not be left on its parking channel."""
    parking, partner, final = names(shared, "A")
    book = book_of(shared, "A", back).decide(parking, "approved").decide(partner, "approved")
    book.decide(final, "refused").saved()

    (taken,) = decide(shared, settings, [back])
    assert taken.decisions == 1
    assert [sentence for _, _, sentence in said(taken)] == [
        "A-01 moves by way of a parking channel: decide the same for its 2 steps"
    ] * 2
    assert states(shared)[partner] == "approved"
    book.decide(final, "approved").saved()
    assert decide(shared, settings, [back])[0].decisions == 2


def test_a_change_of_mind_needs_a_later_date(
    shared: Database, settings: Settings, back: Path
) -> None:
    """On the day of the decision on file another word is refused; a day later it is taken."""
    change = names(shared, "B")[0]
    book = book_of(shared, "B", back)
    book.decide(change, "approved").saved()
    decide(shared, settings, [back])
    book.decide(change, "deferred").saved()
    (taken,) = decide(shared, settings, [back])
    assert said(taken)[0][2] == (
        f"change {change} has been approved since 2026-10-05; a change of mind needs a later date"
    )
    book.decide(change, "deferred", day=datetime(2026, 10, 6, 9, 30)).saved()
    assert decide(shared, settings, [back])[0].decisions == 1
    assert states(shared)[change] == "deferred"


def test_results_are_taken_after_the_decisions_of_the_same_workbook(
    proposed: Database, settings: Settings, back: Path
) -> None:
    """Done, done differently, not done: each with its time; undone again later."""
    changes = names(proposed, "B")
    book = book_of(proposed, "B", back)
    for change in changes:
        book.decide(change, "approved")
    night = datetime(2026, 10, 20, 23, 15)
    words = ("done", "anders erledigt", "not done")
    for change, word in zip(changes, words, strict=True):
        book.fill(RESULTS, change, done_at=night, outcome=word, by="night team", note="on 26")
    book.saved()

    (taken,) = decide(proposed, settings, [back])
    assert (taken.decisions, taken.results, taken.refusals) == (3, 3, ())
    results = [(e.state, e.at, e.by, e.result) for e in history(proposed) if e.result]
    assert results == [
        ("implemented", night, "night team", "done"),
        ("implemented", night, "night team", "done differently"),
        ("approved", night, "night team", "not done"),
    ]
    book.fill(RESULTS, changes[0], done_at=night + timedelta(hours=2), outcome="backed out")
    book.saved()
    (again,) = decide(proposed, settings, [back])
    assert (again.results, again.repeated, again.refusals) == (1, 5, ())
    assert states(proposed)[changes[0]] == "backed out"


def test_results_nobody_may_have_are_refused(
    shared: Database, settings: Settings, back: Path
) -> None:
    """Work on a change that was not approved, without a name, or different without a word why."""
    first, second, third = names(shared, "B")
    book = book_of(shared, "B", back).decide(second, "approved").decide(third, "approved")
    night = datetime(2026, 10, 20, 23)
    book.fill(RESULTS, first, done_at=night, outcome="done", by="team")
    book.fill(RESULTS, second, done_at=night, outcome="done differently", by="team")
    book.fill(RESULTS, third, done_at=date(2026, 10, 1), outcome="done", by="team")
    book.saved()

    (taken,) = decide(shared, settings, [back])

    assert (taken.decisions, taken.results) == (2, 0)
    sentences = sorted(sentence for _, _, sentence in said(taken))
    assert f"Change {first} is proposed and cannot become implemented" in sentences[0]
    assert sentences[1].startswith(f"Change {third} has an event of 2026-10-05 00:00")
    assert sentences[2] == "say in the note what was done instead"


def test_the_hidden_copy_may_be_lost(shared: Database, settings: Settings, back: Path) -> None:
    """Then the title line names the plan, and the register knows what was written."""
    first, second, _ = names(shared, "B")
    book = book_of(shared, "B", back).decide(first, "approved").decide(second, "approved")
    del book.book[COPY]
    book.fill(DECISIONS, second, to=26).saved()

    (taken,) = decide(shared, settings, [back])
    assert taken.decisions == 1
    assert "it now says '26' and was '20'" in said(taken)[0][2]


def lose_every_name(book: Book) -> None:
    """Take away both places that name the plan."""
    del book.book[COPY]
    book.sheet(DECISIONS)["A1"] = "our plan"


def lose_the_forms(book: Book) -> None:
    """Take away both sheets."""
    del book.book[DECISIONS.sheet]


LOST: list[tuple[Callable[[Book], object], str]] = [
    (lose_every_name, "it does not say which plan it belongs to"),
    (lose_the_forms, "it has neither a sheet Decisions nor a sheet Results"),
    (lambda book: book.sheet(DECISIONS).delete_rows(TOP - 2), "row of keys is gone"),
    (lambda book: book.sheet(DECISIONS).delete_cols(6), "lacks the column 'from'"),
    (lambda book: book.sheet(DECISIONS).cell(TOP - 2, 26, "decision"), "has 'decision' twice"),
]


@pytest.mark.parametrize(("lose", "sentence"), LOST)
def test_a_workbook_that_lost_its_form_is_refused_with_the_reason(
    shared: Database,
    settings: Settings,
    back: Path,
    lose: Callable[[Book], object],
    sentence: str,
) -> None:
    """What cannot be told for certain is not guessed."""
    book = book_of(shared, "B", back)
    del book.book[RESULTS.sheet]
    for name in names(shared, "B"):
        book.decide(name, "approved")
    lose(book)
    if not book.book.worksheets:
        book.book.create_sheet("empty")
    book.saved()

    (taken,) = decide(shared, settings, [back])
    assert taken.decisions == 0
    assert sentence in said(taken)[0][2]


def test_what_is_no_workbook_is_refused(shared: Database, settings: Settings, back: Path) -> None:
    """Other files, damaged ones and missing ones: a sentence each, and the others are taken."""
    (back / "notes.xlsx").write_bytes(b"not a workbook")
    (back / "empty.xlsx").write_bytes(b"")
    (back / "~$B.xlsx").write_bytes(b"somebody has it open")
    good = book_of(shared, "B", back).decide(names(shared, "B")[0], "approved").saved()
    octets = good.read_bytes()
    (back / "cut.xlsx").write_bytes(octets[: len(octets) // 2])

    taken = decide(shared, settings, [back, back / "gone.xlsx"])

    assert [(one.workbook, one.decisions) for one in taken] == [
        ("back/B.xlsx", 1),
        ("back/cut.xlsx", 0),
        ("back/empty.xlsx", 0),
        ("back/gone.xlsx", 0),
        ("back/notes.xlsx", 0),
    ]  # fmt: skip
    assert all(len(one.refusals) == 1 for one in taken[1:])
    assert "No such file" in taken[3].refusals[0].sentence
