"""The commands one after the other, as a planner gives them: nothing agreed is planned anew."""

import csv
import shutil
from collections import Counter
from dataclasses import replace
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import pytest
from changes_book import Book
from demo_run import SAMPLE, Ran
from openpyxl import load_workbook
from rich.console import Console

from pipeline.commands import (
    run_approve,
    run_audit,
    run_back_out,
    run_compare,
    run_decide,
    run_life,
    run_listing,
    run_morning,
    run_schedule,
    run_standing,
    run_verify,
)
from pipeline.database import open_database
from pipeline.forms import ANOTHER, DECISIONS
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request
from pipeline.terminal_changes import show_morning

STORE = "N104"


@pytest.fixture(scope="module")
def request_of(demo_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> Request:
    """The demo, run once; later commands are given no exports and no rules file."""
    first = demo_run.copied(tmp_path_factory.mktemp("commands"), reports=True)
    return replace(first.request, exports=None)


def test_later_commands_go_by_the_rules_of_the_run(request_of: Request) -> None:
    """The exception on file in the demo's rules still counts, and the run is the same run."""
    summary, findings = run_listing(request_of, "listed_findings", Silent())

    assert summary.excepted == 1
    assert findings.height == sum(summary.findings.values())


def test_each_rule_tells_where_it_fails_and_since_when(request_of: Request) -> None:
    """Everything is new in the quarter of the first run; nothing has gone."""
    since, rows = run_standing(request_of, None, Silent())

    assert since == date(2026, 7, 1)
    everywhere = [row for row in rows if row.region is None]
    assert len({row.rule for row in everywhere}) == len(everywhere) > 20
    for row in everywhere:
        assert row.new_findings == row.findings > 0
        assert row.gone_findings == 0
        assert row.first_seen == row.last_seen == date(2026, 9, 30)


def test_a_selection_is_told_of_alone(request_of: Request) -> None:
    """The figures of a run that names a store are those of the store, down to its exit status."""
    one = replace(request_of, selection=Selection((STORE,)))
    summary, moves = run_listing(one, "listed_moves", Silent())
    _, findings = run_listing(one, "listed_findings", Silent())
    assert (summary.stores, summary.stations) == (1, 16)
    assert (summary.moves, summary.stores_with_moves) == (moves.height, 1) == (4, 1)
    assert sum(summary.findings.values()) == findings.height > 0
    assert findings["store"].unique().to_list() == [STORE]
    with open_database(request_of.database) as database:
        query = (
            "select avg(clear_air_now), avg(clear_air_planned) from station_plan where store = ?"
        )
        plain = database.connection.execute(query, [STORE]).fetchone()
        upside_down = database.connection.execute(
            "select station from station_plan where not coalesce(clear_air_planned between "
            "clear_air_planned_low and clear_air_planned_high, true)"
        ).fetchall()
    assert upside_down == []
    assert plain is not None
    assert abs(summary.clear_air_now - plain[0]) < 0.05 < summary.clear_air_planned - plain[0]
    whole, _ = run_listing(request_of, "listed_moves", Silent())
    assert whole.stores > 1
    assert whole.moves > 5


def test_approved_changes_get_a_night_and_are_not_planned_anew(request_of: Request) -> None:
    """Approve a store's plan, one change on another channel: a new run keeps to what is ordered."""
    workbook = request_of.out / "North" / STORE / "change-plan.xlsx"
    with open_database(request_of.database) as database:
        query = "select station, change from change where store = ? order by position"
        names = dict(database.connection.execute(query, [STORE]).fetchall())
        before = database.connection.execute("select * from move order by all").fetchall()
    book = Book(load_workbook(workbook), workbook)
    for name in names.values():
        book.decide(name, "approved", "T. Aldervane", date(2026, 10, 1))
    book.fill(DECISIONS, names["N104-03"], decision=ANOTHER, other=20).saved()

    (taken,) = run_decide(request_of, [workbook], all_or_nothing=False)
    (told,) = taken.priced
    lead = "N104-03: channel 20 instead of 15 leaves the store's clear air as it is; clear air "
    assert told.startswith(lead)
    assert " promised (" in told
    found = run_schedule(_pilot_named(request_of), Silent())

    assert len(names) == 4
    assert (taken.decisions, taken.refusals) == (4, ())
    assert found.booked == 4
    assert STORE in found.nights["store"].to_list()
    assert found.after == date(2026, 10, 1)
    assert min(found.nights["night"].to_list()) > found.after
    firm = found.nights.filter(~found.nights["firmness"].str.starts_with("provisional"))
    assert firm["store"].unique().to_list() == [STORE]
    assert len(found.calendars) >= 8
    assert all(path.is_file() for path in found.calendars)
    with open_database(request_of.database) as database:
        after = database.connection.execute("select * from move order by all").fetchall()
        states = database.connection.execute(
            "select state, count(*) from change_state_on(date '2027-01-01') join change "
            "using (change) where store = ? group by state",
            [STORE],
        ).fetchall()
    ordered = {("N104-03", 11, 15): ("N104-03", 11, 20)}
    assert sorted(row[1:4] for row in after) == sorted(
        ordered.get(row[1:4], row[1:4]) for row in before
    )
    assert states == [("scheduled", 4)]


def _pilot_named(request: Request) -> Request:
    """Return a request by the demo's rules, but with the store in the pilot, whatever is drawn."""
    rules = request.out / "rules.toml"
    waves = """
        [[wave]]
        name = "pilot"
        stores = ["N104"]
        up_to = 0.05
        verified_share = 1
        wait_days = 7
        [[wave]]
        name = "rest"
        up_to = 1
        verified_share = 1
        wait_days = 7
        """
    rules.write_text((SAMPLE / "rules.toml").read_text(encoding="utf-8") + waves, encoding="utf-8")
    return replace(request, rules=rules)


def _morning(request: Request, folder: Path, kept: set[str], heard: float) -> Request:
    """Return a request with an export of N104 of the day after its last night.

    All its changes are made except those of stations `kept`, and of the labels of each station a
    share `heard` was heard since.
    """
    with open_database(request.database) as database:
        orders = database.connection.execute(
            "select s.station, s.ordered_channel, s.due from change_story s "
            "where s.store = ? and s.state = 'scheduled' order by s.position",
            [STORE],
        ).fetchall()
    night = max(due for _, _, due in orders)
    assert {due.date() for _, _, due in orders} == {night.date()}
    wanted = {station: channel for station, channel, _ in orders if station not in kept}
    day = (night + timedelta(days=1)).date().isoformat()
    before = SAMPLE / "north" / "2026-09-30"
    place = Counter[str]()
    for name in ("stores.csv", "stations.csv", "labels.csv"):
        with (before / name).open(encoding="utf-8-sig", newline="") as file:
            rows = [row for row in csv.DictReader(file) if row["Store"] == STORE]
        for row in rows:
            row["Exported on"] = day
            if name == "stations.csv":
                row["Channel"] = str(wanted.get(row["Station"], row["Channel"]))
            if name == "labels.csv":
                place[row["Station"]] += 1
                silent = place[row["Station"]] % 10 >= 10 * heard
                row["Last heard"] = night.date().isoformat() if silent else day
        with (folder / name).open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, rows[0])
            writer.writeheader()
            writer.writerows(rows)
    own = Path(shutil.copy(request.database, folder.with_suffix(".duckdb")))
    return replace(request, exports=folder, database=own)


@pytest.mark.parametrize(
    ("kept", "heard", "says"),
    [
        (set(), 1.0, ["labels back"]),
        (
            {"N104-03"},
            0.9,
            ["Not heard since: ", "look again tomorrow", "not done: on channel 11 as before"],
        ),
        (set(), 0.5, ["take the way back", "The way back of N104: N104-"]),
    ],
)
def test_the_morning_after_says_what_to_do(
    request_of: Request, tmp_path: Path, kept: set[str], heard: float, says: list[str]
) -> None:
    """The export of the next day against last night's changes: done, labels back, or what to do."""
    found = run_morning(_morning(request_of, tmp_path, kept, heard), Silent())

    told = StringIO()
    show_morning(Console(file=told, width=10_000), found)
    lines = told.getvalue()
    assert found.work == (bool(kept) or heard < 1)
    assert {one.of.store for one in found.changes} == {STORE}
    for text in says:
        assert text in lines


def test_nothing_to_verify_and_nothing_to_take_back_says_so(request_of: Request) -> None:
    """No export has come since, and no change was carried out."""
    assert run_verify(request_of).checks == ()
    one = replace(request_of, selection=Selection((STORE,)))
    assert run_back_out(one) == ()


def test_a_quarter_is_audited_and_a_station_tells_its_life(request_of: Request) -> None:
    """Both files are written; a station that has gone does not lift a rate above all of them."""
    found = run_audit(request_of, "2026-Q3", Silent())

    assert found.audited.quarter == "2026-Q3"
    book = load_workbook(found.files[0], read_only=True)
    assert book.worksheets[0]["A3"].value == found.verdict  # the terminal says what the pages do
    assert [path.suffix for path in found.files] == [".xlsx", ".pdf"]
    assert all(path.stat().st_size > 1000 for path in found.files)
    lines = run_life(request_of, STORE, f"{STORE}-02")
    assert [line.day for line in lines] == sorted(line.day for line in lines)
    assert any("channel 26 to 20" in line.text for line in lines)


def test_what_is_agreed_is_held_against_what_is_found(request_of: Request) -> None:
    """Once a store is approved as it stands, nothing in it departs from what is agreed."""
    one = replace(request_of, selection=Selection((STORE,)))
    before = run_compare(one, date(2026, 6, 30), date(2026, 9, 30))

    (approved,) = run_approve(one, "T. Aldervane", "as built")

    after = run_compare(one, date(2026, 6, 30), date(2026, 9, 30))
    assert before
    assert (approved.version, approved.stations) == (1, 16)
    assert [row for row in after if row.kind == "drift"] == []
