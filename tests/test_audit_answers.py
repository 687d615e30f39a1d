"""Answers to an audit, a line at once: from the sheet through `decide` to the baseline."""

import shutil
from collections.abc import Callable, Iterator
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from audit_kit import put
from empty import new_database
from openpyxl import load_workbook
from test_audit_baseline import AUGUST, JULY, SETTINGS, set_day, station

from pipeline.audit.audit import audit
from pipeline.audit.baseline import approve, take
from pipeline.audit.records import read_quarter
from pipeline.changes.answers import among, answers
from pipeline.changes.decisions import Taken, decide
from pipeline.database import Database, open_database
from pipeline.forms import ANSWERS
from pipeline.report.quarter.content import QuarterContent
from pipeline.report.quarter.gather import quarter_content
from pipeline.report.write import write_audit

Q3 = read_quarter("2026-Q3")
LATER, LAST = date(2026, 9, 14), date(2026, 9, 30)
Fill = dict[str, object]


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give two stores whose five stations got other firmware in August, and one a channel too."""
    path = tmp_path_factory.mktemp("audited") / "answers.duckdb"
    with new_database(path) as opened:
        for store in ("S1", "S2"):
            put(opened, "store_seen", [{"store": store, "seen_on": JULY, "region": "North"}])
        put(opened, "station_seen", [_seen(n, JULY, "1", 11) for n in range(5)])
        set_day(opened, JULY)
        approve(opened, SETTINGS, ["S1", "S2"], by="P. Approver", reason="as built", on=JULY)
        put(opened, "station_seen",
            [_seen(n, AUGUST, "2", 15 if n == 4 else 11) for n in range(5)])  # fmt: skip
        set_day(opened, AUGUST)
        audit(opened, Q3)
    return path


@pytest.fixture
def database(audited: Path, tmp_path: Path) -> Iterator[Database]:
    """Give the audited stores in a database of its own."""
    with open_database(Path(shutil.copy(audited, tmp_path))) as opened:
        yield opened


def _seen(number: int, day: date, firmware: str, channel: int) -> dict[str, Any]:
    seen = station("a", channel, day, store=f"S{1 + number // 3}")
    eui64 = f"00005eef1000000{number}"
    return {**seen, "station": f"a{number}", "eui64": eui64, "firmware": firmware}


def content_of(database: Database) -> QuarterContent:
    """Return what the audit of the quarter says now."""
    return quarter_content(database, "2026-Q3")


def filled(
    database: Database, folder: Path, entries: dict[str, Fill], edits: dict[str, Fill] | None = None
) -> Path:
    """Write the audit and fill in, or edit, cells of the lines of some fields, by column key."""
    book_file, _ = write_audit(database, folder, "2026-Q3")
    book = load_workbook(book_file)
    sheet = book["To answer"]
    keys = [cell.value for cell in sheet[3]]
    causes = {cause.cause: cause.field for cause in content_of(database).causes}
    for row in sheet.iter_rows(min_row=5):
        field = causes[str(row[0].value)]
        told = {**entries.get(field, {}), **(edits or {}).get(field, {})}
        for key, value in told.items():
            row[keys.index(key)].value = value  # type: ignore[assignment] # a date is one
    book.save(book_file)
    return book_file


def returned(
    database: Database, path: Path, *, today: date | None = None, all_or_nothing: bool = False
) -> Taken:
    """Return a workbook as `decide` would."""
    [audits] = among([path.parent], ANSWERS)
    (taken,), given, _ = answers(
        database, SETTINGS, [audits], all_or_nothing=all_or_nothing, today=today
    )
    take(database, given)
    return taken


APPROVE: Fill = {"answer": "approve as agreed", "by": "P. Approver", "date": datetime(2026, 9, 14),
           "note": "spring rollout"}  # fmt: skip
PUT_BACK: Fill = {"answer": "zurücksetzen", "by": "q. other", "date": "14.09.2026"}


def test_one_answer_holds_for_every_station_of_its_line(database: Database, tmp_path: Path) -> None:
    """Each gets its own row of the baseline; what stood open is approved, by whom and when."""
    before = database.connection.execute("select * from baseline order by all").fetchall()
    path = filled(database, tmp_path, {"firmware": APPROVE, "channel": PUT_BACK})
    taken = returned(database, path)

    assert (taken.decisions, taken.repeated, taken.refusals) == (2, 0, ())
    rows = database.connection.execute(
        "select store, station, field, value, approved_by, approved_on, reason, change "
        "from baseline where version = 2 order by station"
    ).fetchall()
    assert rows == [
        (f"S{1 + n // 3}", f"a{n}", "firmware", "2", "P. Approver", LATER, "spring rollout", None)
        for n in range(5)
    ]
    kept = database.connection.execute("select * from baseline where version = 1 order by all")
    assert kept.fetchall() == before

    set_day(database, LAST)
    audit(database, Q3)
    content = content_of(database)
    assert [(c.field, c.answer, c.answered_by) for c in content.causes] == [
        ("channel", "put back", "Q. Other")
    ]
    assert content.now.accepted == 5
    assert {(a.reason, a.approved_by, a.agreed, a.found) for a in content.approvals} == {
        ("spring rollout", "P. Approver", "1", "2")
    }


def test_the_same_workbook_twice_changes_nothing(database: Database, tmp_path: Path) -> None:
    """Before the next audit and after it; another answer to what is settled is refused."""
    path = filled(database, tmp_path, {"firmware": APPROVE, "channel": PUT_BACK})
    returned(database, path)
    count = "select (select count(*) from baseline), (select count(*) from drift_answer)"
    kept = database.connection.execute(count).fetchall()
    for day in (AUGUST, LAST):
        set_day(database, day)
        audit(database, Q3)
        again = returned(database, path)
        assert (again.decisions, again.repeated, again.refusals) == (0, 2, ())
    assert database.connection.execute(count).fetchall() == kept


@pytest.mark.parametrize(
    ("entries", "cell", "why"),
    [
        ({"answer": "yes"}, "J", "'yes' is not one of"),
        ({"by": "S. Stranger"}, "K", "is not an approver; the rules file names P. Approver"),
        ({"by": None}, "K", "it does not say who decided"),
        ({"date": None}, "L", "it has no date"),
        ({"date": datetime(2026, 7, 1)}, "L", "is before 2026-08-31, when it was first seen"),
        ({"date": datetime(2026, 10, 1)}, "L", "is after 2026-09-30, the day of the command"),
        ({"note": "=1+1"}, "M", "it holds a formula"),
        ({"stations": 1}, "D", "a locked cell was edited: it says '1' and was '5'"),
        ({"what": ""}, "B", "a locked cell was edited"),
        ({"change": "0123456789"}, "A", "the audit asks nothing of that name any more"),
    ],
)
def test_what_is_wrong_is_refused_in_its_cell(
    database: Database, tmp_path: Path, entries: Fill, cell: str, why: str
) -> None:
    """The other line is taken, unless all or nothing is asked for; nothing is agreed to."""
    right = {"firmware": APPROVE, "channel": PUT_BACK}
    path = filled(database, tmp_path, right, {"firmware": entries})
    none = returned(database, path, all_or_nothing=True, today=LAST)
    taken = returned(database, path, today=LAST)

    [refusal] = taken.refusals
    assert (refusal.sheet, refusal.cell) == ("To answer", f"{cell}6")
    assert why in refusal.sentence
    assert (none.decisions, taken.decisions) == (0, 1)
    assert database.connection.execute("select max(version) from baseline").fetchall() == [(1,)]


def test_a_station_that_is_gone_is_not_approved_in_one_cell(
    database: Database, tmp_path: Path
) -> None:
    """All it is must be agreed to; the sentence says how."""
    put(database, "station_seen", [_seen(n, LAST, "1", 11) for n in (0, 1, 3, 4)])
    set_day(database, LAST)
    audit(database, Q3)
    last = {**APPROVE, "date": datetime(2026, 9, 30)}
    taken = returned(database, filled(database, tmp_path, {"station": last}))
    assert "audit --approve" in taken.refusals[0].sentence


def test_an_audit_in_a_folder_is_no_change_plan(database: Database, tmp_path: Path) -> None:
    """Where decisions on changes are read, it is passed over; other files are no audits."""
    path = filled(database, tmp_path, {"firmware": APPROVE})
    (tmp_path / "notes.xlsx").write_bytes(b"no workbook")
    assert decide(database, SETTINGS, [path.parent]) == ()
    assert among([tmp_path], ANSWERS) == [path]


def test_answers_are_marked_in_the_audit_of_their_quarter_only(
    database: Database, tmp_path: Path
) -> None:
    """An answer given after the quarter's end leaves its audit as it was."""
    set_day(database, date(2026, 10, 20))
    audit(database, Q3)
    files: Callable[[], list[bytes]] = lambda: [  # noqa: E731 - said twice
        one.read_bytes() for one in write_audit(database, tmp_path / "then", "2026-Q3")
    ]
    then = files()
    late = {**APPROVE, "date": datetime(2026, 10, 20)}
    taken = returned(database, filled(database, tmp_path, {"firmware": late}))
    assert taken.decisions == 1
    audit(database, Q3)
    assert files() == then
