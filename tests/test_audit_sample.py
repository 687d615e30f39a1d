"""A sample drawn, taken along, filled in and returned; and what late facts make of an audit."""

from collections.abc import Iterator
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path

import pytest
from audit_kit import put
from empty import new_database
from openpyxl import load_workbook
from test_audit_baseline import AUGUST, JULY, SETTINGS, set_day, station

from pipeline.audit.audit import audit, draw_sample, keep_results
from pipeline.audit.baseline import approve
from pipeline.audit.records import read_quarter
from pipeline.changes.answers import among, sample_results
from pipeline.changes.decisions import Taken
from pipeline.database import Database
from pipeline.errors import NothingToSample
from pipeline.estimate.sampling import most_astray, most_astray_of_all
from pipeline.forms import SAMPLE
from pipeline.proof.check import check_register
from pipeline.proof.seal import seal
from pipeline.report.quarter.gather import quarter_content
from pipeline.report.quarter.sample import sample_outcomes
from pipeline.report.write import samples_told, write_audit, write_sample
from pipeline.tables.taken import ExportFile

Q3, LAST = read_quarter("2026-Q3"), date(2026, 9, 30)
YES = {"found_channel": 11, "as_agreed": "yes", "by": "S. Auditor", "date": datetime(2026, 9, 2)}
OTHERWISE = {"eui64": None, "pan_id": 0x2F11}
STORES = {"S1": "North", "S2": "North", "S3": "South"}


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Give three stores of two regions with ten agreed stations each, on channel 11."""
    with new_database(tmp_path / "sample.duckdb") as opened:
        opened.before_commit = seal
        put(opened, "store_seen",
            [{"store": s, "seen_on": JULY, "region": r} for s, r in STORES.items()])  # fmt: skip
        put(opened, "station_seen", [
            {**station("a", 11, JULY, store=s), "station": f"{s}-{n}", **OTHERWISE}
            for s in STORES for n in range(10)
        ])  # fmt: skip
        set_day(opened, JULY)
        approve(opened, SETTINGS, list(STORES), by="P. Approver", reason="as built", on=JULY)
        set_day(opened, AUGUST)
        yield opened


def filled(path: Path, entries: dict[int, dict[str, object]]) -> Path:
    """Fill in rows of a sheet, by number from 1, and by the key of the column."""
    book = load_workbook(path)
    sheet = book["Sample"]
    keys = [cell.value for cell in sheet[3]]
    for number, values in entries.items():
        for key, value in values.items():
            sheet.cell(4 + number, keys.index(key) + 1).value = value  # type: ignore[assignment]
    book.save(path)
    return path


def returned(database: Database, path: Path, *, today: date | None = None) -> Taken:
    """Take a sheet back as `decide` does."""
    [sheet] = among([path], SAMPLE)
    (taken,), found, originals = sample_results(database, [sheet], today=today)
    keep_results(database, found, originals)
    return taken


def test_what_was_found_bounds_what_may_be_astray(database: Database, tmp_path: Path) -> None:
    """The whole way: drawn by region, all but one row filled in, taken, told, printed, sealed."""
    set_day(database, LAST)
    assert audit(database, Q3).edition == 1
    set_day(database, AUGUST)
    sample = draw_sample(database, 12, "dice 4 6 1")
    path = write_sample(database, tmp_path, sample)
    rows = dict.fromkeys(range(1, 12), YES)
    rows[2] = {**YES, "as_agreed": "nein", "found_channel": 25}
    taken = returned(database, filled(path, dict(rows)))

    assert (taken.results, taken.repeated, taken.refusals) == (11, 0, ())
    (outcome,) = sample_outcomes(database, Q3.first, Q3.last)
    assert (outcome.stations, outcome.drawn, outcome.looked_at, outcome.astray) == (30, 12, 11, 1)
    looked = database.connection.execute(
        "select region_stations, count(r.number) from audit_sampled d "
        "left join audit_sample_result r using (sample, number) group by region, region_stations"
    ).fetchall()
    assert sorted(n for n, _ in looked) == [10, 20]
    assert outcome.bound == most_astray_of_all(1, looked) > most_astray(1, 11)
    assert outcome.worst == pytest.approx(most_astray(2, 12))  # 8 and 4 of 20 and 10
    (said,) = samples_told(database, [sample])
    assert "of 30 stations 12 were drawn and 11 looked at, 1 not as agreed: 95" in said
    set_day(database, LAST)
    assert audit(database, Q3).edition == 2  # what auditors found late restates the quarter
    assert quarter_content(database, "2026-Q3").samples == (outcome,)
    assert sample_outcomes(database, date(2026, 10, 1), date(2026, 12, 31)) == ()
    assert check_register(database, []).problems == ()


def test_a_draw_is_the_same_once_more_and_needs_something_agreed(database: Database) -> None:
    """The same seed and stations are the same sample; a share asks for what rules it out."""
    first = draw_sample(database, 0.2, "a")
    assert draw_sample(database, 0.2, "a") == first != draw_sample(database, 0.2, "b")
    sizes = database.connection.execute("select distinct size, stations from audit_sample")
    assert sizes.fetchall() == [(14, 30)]
    database.connection.execute("delete from baseline")
    with pytest.raises(NothingToSample):
        draw_sample(database, 5)


@pytest.mark.parametrize(
    ("entries", "key", "why"),
    [
        ({"found_channel": 25}, "J", "what was found is not what is agreed"),
        ({"found_pan_id": "0x2F12"}, "J", "what was found is not what is agreed"),
        ({"found_channel": None}, "J", "write the channel that was found"),
        ({"as_agreed": "no"}, "J", "say in the remark what does"),
        ({"as_agreed": "perhaps"}, "J", "is not one of yes, no"),
        ({"found_channel": 27}, "H", "channel 27 is none of 11 to 26"),
        ({"found_pan_id": "12345"}, "I", "is not a PAN ID"),
        ({"by": None}, "K", "it does not say who"),
        ({"date": datetime(2026, 8, 1)}, "L", "is before 2026-08-31, when the sample was drawn"),
        ({"date": datetime(2026, 10, 1)}, "L", "is after 2026-09-30"),
        ({"note": "=1"}, "M", "it holds a formula"),
        ({"channel": 12}, "F", "a locked cell was edited"),
        ({"change": "0123456789-01"}, "A", "no sample was drawn that has a row of this name"),
    ],
)
def test_what_is_wrong_is_refused_in_its_cell(
    database: Database, tmp_path: Path, entries: dict[str, object], key: str, why: str
) -> None:
    """The other row is taken; sent again, it is known."""
    path = write_sample(database, tmp_path, draw_sample(database, 2, "a"))
    filled(path, {1: {**YES, **entries}, 2: dict(YES)})
    taken = returned(database, path, today=LAST)

    [refusal] = taken.refusals
    assert (refusal.sheet, refusal.cell) == ("Sample", f"{key}5")
    assert why in refusal.sentence
    assert taken.results == 1
    assert returned(database, path, today=LAST).repeated == 1


def test_late_facts_are_shown_between_editions(database: Database, tmp_path: Path) -> None:
    """Edition 1 stands octet by octet, in any folder; edition 2 says what is told otherwise."""
    set_day(database, LAST)
    audit(database, Q3)
    first = [path.read_bytes() for path in write_audit(database, tmp_path / "a", "2026-Q3")]
    late = {**station("a", 25, AUGUST), **OTHERWISE}
    put(database, "station_seen", [
        {**late, "station": f"S1-{n}", "channel": 25 if n == 3 else 11} for n in range(10)
    ])  # fmt: skip
    row = dict.fromkeys(each.name for each in fields(ExportFile)) | {
        "file": "late.csv", "sha256": "ab", "kind": "stations", "exported_on": AUGUST,
        "rows_read": 10, "rows_loaded": 10, "rows_quarantined": 0, "rows_repeated": 0,
        "decisions": "",
    }  # fmt: skip
    put(database, "export_file", [row])
    with database.transaction():
        database.run("proof", "register_exports")
    audit(database, Q3)
    write_audit(database, tmp_path / "b", "2026-Q3")

    folder = tmp_path / "b" / "audit"
    kinds = ("xlsx", "pdf")
    assert [(folder / f"2026-Q3-edition-1.{kind}").read_bytes() for kind in kinds] == first
    latest = [(folder / f"2026-Q3.{kind}").read_bytes() for kind in kinds]
    assert not set(latest) & set(first)
    assert len(list(folder.iterdir())) == 4
    database.connection.execute("delete from audit_promise")  # what is kept is not worked out again
    again = write_audit(database, tmp_path / "c", "2026-Q3")
    assert [path.read_bytes() for path in again] == latest
    told = quarter_content(database, "2026-Q3").restated
    assert [(r.change, r.store, r.subject, r.field, r.agreed, r.found) for r in told] == [
        ("export", None, "late.csv", None, None, None),
        ("told now", "S1", "S1-3", "channel", "11", "25"),
    ]
    assert check_register(database, []).problems == ()
