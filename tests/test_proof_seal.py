"""A sealed register: whatever is changed in it afterwards shows against the root a page printed."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import duckdb
import pypdfium2
import pytest
from demo_run import Ran
from openpyxl import load_workbook
from proof_checker import checker

from pipeline.changes.register import append, standings
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.database import Database, open_database
from pipeline.errors import NothingToProve, SealUnreadable
from pipeline.originals import Original, keep_originals
from pipeline.proof.check import PrintedSeal, Wanted, check_register, prove, read_seal
from pipeline.proof.seal import SEALED, last_seal, seal
from pipeline.tables.audit import (
    AuditEdition,
    Baseline,
    DepartureAnswer,
    DepartureTold,
    FileKept,
    RegisterEntry,
    RegisterFile,
    RegisterSeal,
    SampleResult,
)
from pipeline.tables.changes import NightsGiven
from pipeline.tables.declare import table_of

TABLES = [table_of(kind) for kind in SEALED]
WATCHING = [table_of(kind) for kind in (RegisterEntry, RegisterSeal, FileKept)]
# Nobody's root is over these: the day a seal was made, and the store noted beside a leaf.
UNDER_NO_ROOT = {("register_seal", "as_of"), ("register_entry", "store")}


@pytest.fixture
def database(demo_run: Ran, tmp_path: Path) -> Iterator[Database]:
    """Give a sealed register: the plans of all stores of the demo, all approved, and a baseline."""
    ran = demo_run.copied(tmp_path, reports=False)
    with open_database(ran.request.database) as opened:
        day = datetime(2026, 10, 2)
        proposed = sorted(standings(opened))
        append(
            opened,
            Trigger.DECIDE,
            [new_event(change, ChangeState.APPROVED, day, "T. Aldervane") for change in proposed],
        )
        opened.put(Baseline, [baseline(n) for n in range(12)])
        for kind in SEALED:
            if opened.count(kind) < 5:
                opened.put(kind, [something_of(kind, n) for n in range(5)])
        keep_originals(opened, "workbook", [Original(f"{n}.xlsx", bytes([n])) for n in range(5)])
        seal(opened)
        yield opened


def something_of(kind: type[Any], number: int) -> Any:  # noqa: ANN401 - a row of any table
    """Return a row of a table that no run of the fixture fills."""
    values = {
        "varchar": f"a{number}", "integer": number, "bigint": number, "boolean": True,
        "date": date(2026, 10, 2), "timestamp": datetime(2026, 10, 2, number), "double": 0.5,
    }  # fmt: skip
    row = {each.name: values[each.sql] for each in table_of(kind).columns}
    if kind is DepartureAnswer:
        row["workbook_sha256"] = None
    return kind(**row | ({"kind": "export"} if kind is RegisterFile else {}))


def baseline(number: int) -> Baseline:
    """Return what is agreed of one station."""
    return Baseline(
        version=1,
        store="S1",
        station=f"B{number}",
        field="channel",
        value=str(11 + number),
        approved_by="T. Aldervane",
        approved_on=datetime(2026, 10, 2).date(),
        reason="as built",
        change=None,
    )


def printed(database: Database) -> PrintedSeal:
    """Return the last seal, as a page has it."""
    found = last_seal(database)
    assert found is not None
    return PrintedSeal(found.size, found.root)


@contextmanager
def undone(database: Database) -> Iterator[None]:
    """Take back whatever is done inside the block."""
    database.connection.begin()
    try:
        yield
    finally:
        database.connection.rollback()


SOMETHING = {
    "varchar": "1", "integer": 1, "bigint": 1, "double": 0.5, "boolean": True,
    "date": date(2026, 10, 1), "timestamp": datetime(2026, 10, 1),
}  # fmt: skip


def other(value: object, random: Random, sql: str = "varchar") -> object:  # noqa: PLR0911 - one for each type
    """Return another value of the same type; a value for null."""
    if value is None:
        return SOMETHING[sql]
    if isinstance(value, bytes):
        return value + b"x"
    if isinstance(value, bool):
        return not value
    if isinstance(value, datetime):
        return value + timedelta(seconds=random.choice((-1, 1, 86400)))
    if isinstance(value, date):
        return value + timedelta(days=1)
    if isinstance(value, int | float):
        return value + random.choice((-1, 1, 7))
    return f"{value or 1}{random.choice((' ', '.', 'x')) if value else ''}"


def edit(database: Database, random: Random) -> str:
    """Change, delete, insert, move or swap something of the register; say what."""
    table = random.choice([*TABLES, *WATCHING])
    name, run = table.name, database.connection.execute
    rows: list[tuple[Any, ...]] = run(f"from {name} order by rowid").fetchall()
    ids = [rowid for (rowid,) in run(f"select rowid from {name} order by rowid").fetchall()]  # noqa: S608 - a declared name
    columns = database.connection.table(name).columns
    at = random.randrange(len(rows))
    kind = random.choice(("field", "field", "field", "delete", "insert", "reorder", "swap"))
    if kind == "field" or table in WATCHING:
        named = [n for n, c in enumerate(columns) if (name, c) not in UNDER_NO_ROOT]
        place = random.choice(named)
        kinds = {column.name: column.sql for column in table.columns}
        value = other(rows[at][place], random, kinds[columns[place]])
        try:
            run(f'update {name} set "{columns[place]}" = ? where rowid = ?', [value, ids[at]])  # noqa: S608 - the same
        except duckdb.ConstraintException:  # a key there is already: it cannot be made
            return ""
        return f"{name}.{columns[place]} of row {at}: {rows[at][place]!r} to {value!r}"
    if kind == "delete":
        run(f"delete from {name} where rowid = ?", [ids[at]])  # noqa: S608 - the same
        return f"row {at} of {name} deleted"
    # What follows writes the whole table anew: a key does not stand in the way then.
    changed = list(rows)
    if kind == "insert":
        row = list(rows[at])
        changed.insert(at, tuple(other(v, random) if v is not None else None for v in row))
    elif kind == "reorder":
        changed.insert(random.randrange(len(changed)), changed.pop(at))
    else:
        to, place = random.randrange(len(rows)), random.randrange(len(columns))
        one, two = list(changed[at]), list(changed[to])
        one[place], two[place] = two[place], one[place]
        changed[at], changed[to] = tuple(one), tuple(two)
        if at == to:
            changed[at] = rows[at]
    if changed == rows:
        return ""
    run(f"create or replace table {name} as from {name} limit 0")
    marks = ", ".join("?" * len(columns))
    database.connection.executemany(f"insert into {name} values ({marks})", changed)  # noqa: S608 - the same
    return f"{name}: {kind} at row {at}"


def found_out(database: Database, seed: int, edits: int) -> int:
    """Make that many edits, each taken back; return how many there were, all found out."""
    random, seal_now, made = Random(seed), printed(database), 0
    while made < edits:
        with undone(database):
            what = edit(database, random)
            if what:
                made += 1
                assert check_register(database, [seal_now]).problems, what
    return made


def test_an_untouched_register_stands(database: Database) -> None:
    """Its rows, entries and seals agree, with the printed root too, whole or its beginning."""
    whole = printed(database)
    short = PrintedSeal(whole.size, whole.root[:16])

    checked = check_register(database, [whole, short])

    assert checked.problems == ()
    assert checked.entries == whole.size > len(TABLES)


def test_edits_are_found_out(database: Database) -> None:
    """Fields changed, rows deleted, inserted, moved, values swapped: each shows."""
    assert found_out(database, seed=1, edits=40) == 40


@pytest.mark.slow
def test_a_thousand_edits_are_found_out(database: Database) -> None:
    """The same a thousand times."""
    assert found_out(database, seed=2, edits=1000) == 1000


def test_whoever_seals_anew_is_found_out_by_a_printed_root(database: Database) -> None:
    """Entries and seals made again from a changed register agree with it, not with the page."""
    page = printed(database)
    run = database.connection.execute
    run(
        "update change_event set \"by\" = 'N. Obody' "
        "where seq = (select max(seq) from change_event)"
    )
    run("delete from register_entry")
    run("delete from register_seal")
    seal(database)

    assert check_register(database, []).problems == ()
    (problem,) = check_register(database, [page]).problems
    assert problem == f"{page}: the first {page.size} entries have another root"


def test_sealing_again_adds_only_what_is_new(database: Database) -> None:
    """A seal without news is the last one; older seals are the beginning of newer ones."""
    first = printed(database)
    seal(database)
    assert printed(database) == first
    database.put(Baseline, [baseline(20)])
    seal(database)

    second = printed(database)
    assert second.size == first.size + 1
    assert check_register(database, [first, second]).problems == ()


def test_a_change_is_proved_to_an_outsider(database: Database) -> None:
    """The checker, which shares no code with us, follows the proof to the printed roots."""
    first = printed(database)
    database.put(Baseline, [baseline(21)])
    seal(database)
    second = printed(database)
    change = min(standings(database))

    proof = json.loads(prove(database, Wanted(change=change), [first.size]))

    entries = [json.loads(entry["octets"]) for entry in proof["entries"]]
    assert [e["table"] for e in entries] == ["change", "change_event", "change_event"]
    assert {e["row"]["change"] for e in entries} == {change}
    roots = [(seal.size, bytes.fromhex(seal.root)) for seal in (first, second)]
    assert list(checker.problems(proof, roots)) == []
    proof["entries"][1]["octets"] = proof["entries"][1]["octets"].replace("proposed", "refused")
    (problem,) = checker.problems(proof, roots)
    assert problem == "entry 2 (index {}) is not in the register that has this root".format(
        proof["entries"][1]["index"]
    )


def test_a_station_and_a_quarter_are_proved(database: Database) -> None:
    """Of a station: its agreements, and all of its changes; of days: what is dated within them."""
    change, store, station = database.connection.execute(
        "select change, store, station from change order by change limit 1"
    ).fetchall()[0]
    own = json.loads(prove(database, Wanted(store=store, station=station)))
    days = (datetime(2026, 10, 1).date(), datetime(2026, 12, 31).date())
    quarter = json.loads(prove(database, Wanted(days=days)))

    assert {json.loads(e["octets"])["row"].get("change") for e in own["entries"]} >= {change}
    tables = [json.loads(e["octets"])["table"] for e in quarter["entries"]]
    assert tables.count("baseline") == 12
    assert tables.count("change_event") == len(standings(database))


def test_what_is_not_there_is_not_proved(database: Database) -> None:
    """A change nobody knows, a seal never made and a word that is no seal end in a sentence."""
    with pytest.raises(NothingToProve, match="no entry of change nobody"):
        prove(database, Wanted(change="nobody"))
    with pytest.raises(NothingToProve, match="a seal of 100000 entries"):
        prove(database, Wanted(change=min(standings(database))), [100_000])
    for text in ("", "12", "12:", "12:abc", "x:3f2a9c51b07e44d8", "12:3f2a9c51b07e44dz"):
        with pytest.raises(SealUnreadable):
            read_seal(text)
    assert read_seal(" 12: 3F2A9C51B07E44D8 ") == PrintedSeal(12, "3f2a9c51b07e44d8")


def test_what_no_root_is_over(database: Database) -> None:
    """The day of a seal and the store beside a leaf are found out by nobody; all else is."""
    run = database.connection.execute
    run("update register_seal set as_of = as_of + 1")
    run("update register_entry set store = 'S9'")

    assert check_register(database, [printed(database)]).problems == ()


def test_a_row_and_its_entry_are_kept_together(database: Database) -> None:
    """Each transaction ends with its seal; one that is given up leaves neither."""
    database.before_commit = seal
    before = printed(database)
    with pytest.raises(ZeroDivisionError), database.transaction():  # noqa: PT012 - given up midway
        database.put(Baseline, [baseline(30)])
        assert 1 / 0
    assert printed(database) == before
    with database.transaction():
        database.put(Baseline, [baseline(30)])

    after = printed(database)
    assert after.size == before.size + 1
    assert check_register(database, [before, after]).problems == ()


def test_a_stores_seal_is_that_of_its_own_last_entry(database: Database) -> None:
    """What is registered of another store, or of none, leaves it as it is."""
    stores = [s for (s,) in database.connection.execute("from store_seal select store").fetchall()]

    def seals() -> dict[str, int]:
        rows = database.connection.execute("select store, size from store_seal").fetchall()
        return dict(rows)

    first = seals()
    database.put(Baseline, [replace(baseline(40), store=stores[0])])
    seal(database)
    second = seals()
    assert second == first | {stores[0]: printed(database).size}
    database.put(NightsGiven, [NightsGiven(date(2026, 10, 3), "elsewhere", "")])
    database.put(AuditEdition, [AuditEdition("2026-Q4", 9, "f", date(2027, 1, 1), 0)])
    for kind in (DepartureTold, SampleResult):
        database.put(kind, [replace(something_of(kind, 9), store=stores[0])])
    seal(database)
    assert seals() == second
    database.connection.execute("update register_entry set store = null")  # as older versions
    assert set(seals().values()) == {
        size
        for (size,) in database.connection.execute(
            "select min(s.size) from register_seal s where s.size >= "
            "(select max(seq) from register_entry where source = 'change_plan')"
        ).fetchall()
    }


def test_every_page_and_workbook_prints_a_seal_that_stands(demo_run: Ran, tmp_path: Path) -> None:
    """Each page its beginning, each workbook the whole; the register holds against all of them."""
    ran = demo_run.copied(tmp_path, reports=False)
    files = [path for path in demo_run.request.out.rglob("*") if path.suffix in {".pdf", ".xlsx"}]
    told: set[PrintedSeal] = set()
    for path in files:
        for text in _texts(path):
            found = re.search(
                r"(?:Seal of the register|Siegel des Registers|Pieczęć rejestru): (\d+:[0-9a-f]+),",
                text,
            )
            assert found, (path, text[-300:])
            told.add(read_seal(found[1]))
            assert len(found[1].split(":")[1]) == (16 if path.suffix == ".pdf" else 64)

    assert {path.suffix for path in files} == {".pdf", ".xlsx"}
    with open_database(ran.request.database) as database:
        assert check_register(database, sorted(told, key=str)).problems == ()


def _texts(path: Path) -> list[str]:
    """Return the text of every page of a PDF; the description and first sheet of a workbook."""
    if path.suffix == ".pdf":
        document = pypdfium2.PdfDocument(path)
        texts = [page.get_textpage().get_text_range() for page in document]
        document.close()
        return texts
    book = load_workbook(path)
    first = " ".join(str(c.value) for row in book.worksheets[0].iter_rows() for c in row)
    told = [str(book.properties.description)]
    return told if path.name == "quarantine.xlsx" else [*told, first]
