"""The sheets people fill in: written, filled in by other programs, and read back without a loss."""

import random
import shutil
import subprocess
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import pytest
from changes_kit import BY, at, names, settings_in, sheet_of, states
from demo_run import Ran
from openpyxl import load_workbook
from openpyxl.cell.cell import Cell
from openpyxl.workbook import Workbook
from report_stores import SEEN, extremes, invented_database

from pipeline.changes.decisions import decide
from pipeline.changes.morning import back_out
from pipeline.changes.register import append, history, propose
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.database import Database
from pipeline.forms import (
    ANOTHER,
    COPY,
    DECISION_WORDS,
    DECISIONS,
    OUTCOME_WORDS,
    RESULTS,
    Form,
    tabs_of,
    word,
)
from pipeline.reasons import Air, Reason, brief, to_json
from pipeline.report.store.gather import store_contents
from pipeline.report.store.workbook import workbook
from pipeline.report.write import write_back_out
from pipeline.settings import Settings
from pipeline.wording import MINUS

KEYS = 3  # the hidden row of keys
FIRST = 5
STORES = ("S001", "S002", "S008")  # English with a parking step, German, and texts that try it
NIGHT = datetime(2026, 10, 20, 23, 15)
SOFFICE = shutil.which("soffice") or shutil.which("libreoffice") or ""


@dataclass
class Out:
    """A register with the workbooks sent out of it."""

    database: Database
    settings: Settings
    folder: Path

    def write(self, store: str) -> Path:
        """Write the change plan of a store as it stands."""
        (content,) = store_contents(self.database, [store], self.settings.approvers)
        path = self.folder / f"{store}.xlsx"
        path.write_bytes(workbook(content))
        return path

    def decide(self, *paths: Path) -> list[tuple[int, int, int, list[str]]]:
        """Take workbooks; return decisions, results, repeated and refusals of each."""
        return [
            (one.decisions, one.results, one.repeated, [str(r) for r in one.refusals])
            for one in decide(self.database, self.settings, paths or [self.folder])
        ]


@pytest.fixture
def out(tmp_path: Path) -> Iterator[Out]:
    """Give the invented stores with their plans put forward."""
    folder = tmp_path / "out"
    folder.mkdir()
    settings = settings_in(tmp_path)
    with invented_database(tmp_path / "q.duckdb", extremes()) as database:
        propose(database, settings)
        yield Out(database, settings, folder)


def column(book: Workbook, form: Form, key: str) -> int:
    """Return the number of the column of a key."""
    return [cell.value for cell in sheet_of(book, form)[KEYS]].index(key) + 1


def fill(book: Workbook, form: Form, row: int, **values: Any) -> None:  # noqa: ANN401 - what people type
    """Fill in the cells of a row."""
    for key, value in values.items():
        sheet_of(book, form).cell(row, column(book, form, key)).value = value


def filled_in(path: Path, language: str = "en") -> int:
    """Decide on every change of a workbook, all alike, and report all but the last; count them."""
    book = load_workbook(path)
    count = sum(1 for row in sheet_of(book, DECISIONS).iter_rows(min_row=FIRST) if row[0].value)
    for row in range(FIRST, FIRST + count):
        fill(book, DECISIONS, row, decision=word("approved", language), by=BY,
             date=date(2026, 10, 5), note="=SUM is no word" if row == FIRST else None)  # fmt: skip
    for row in range(FIRST, FIRST + count - 1):
        done = word("done differently", language)
        fill(book, RESULTS, row, done_at=NIGHT, outcome=done, by="Zoë Łąka", note="ü 26 → 25")
    sheet_of(book, DECISIONS).cell(FIRST, column(book, DECISIONS, "note")).data_type = "s"
    book.save(path)
    return count


def test_cells_to_fill_in_are_free_and_all_others_locked(out: Out) -> None:
    """Every sheet is locked; on the forms the entries of each change are not."""
    book = load_workbook(out.write("S001"))
    for sheet in book.worksheets:
        free = {cell.coordinate for row in sheet.iter_rows() for cell in row
                if not cell.protection.locked}  # fmt: skip
        assert sheet.protection.sheet
        if sheet.title not in {DECISIONS.sheet, RESULTS.sheet}:
            assert free == set()
            continue
        form = DECISIONS if sheet.title == DECISIONS.sheet else RESULTS
        entries = [column(book, form, key) for key in form.entries]
        assert free == {
            sheet.cell(row, at).coordinate for row in range(FIRST, FIRST + 4) for at in entries
        }
        assert sheet.row_dimensions[KEYS].hidden
        assert sheet.freeze_panes == ("E5" if form is DECISIONS else "D5")
        assert sheet.auto_filter.ref.startswith("A4:")


def test_a_decision_is_made_on_reason_gain_chance_price_and_past(out: Out) -> None:
    """Those of a group side by side in one band, with one gain; a refusal of before is told."""
    changes = names(out.database, "S001")
    first, *_, last = changes
    air = Air(11, 0.61, "measured", None, (), 0)
    reason = Reason(air, replace(air, channel=20), None, True, True, 15, 0.1, "high")
    out.database.connection.execute(
        "update change set facts = ?, group_no = if(change in (?, ?), 1, position + 1), "
        "clear_air_before = 0.4, clear_air_before_low = 0.28, clear_air_before_high = 0.43, "
        "clear_air_after = 0.8, clear_air_after_low = 0.76, clear_air_after_high = 0.85, "
        "chance = 0.97, labels = if(change = ?, 30, 10), parking = false where store = 'S001'",
        [to_json(reason), first, last, last],
    )
    until = date(2027, 2, 1)
    events = [
        new_event(last, ChangeState.REFUSED, at(date(2026, 10, 2)), BY, "refit", until=until),
        new_event(last, ChangeState.APPROVED, at(date(2026, 10, 9)), BY, channel=26),
    ]
    append(out.database, Trigger.DECIDE, events)
    book = load_workbook(out.write("S001"))

    def shown(form: Form, key: str) -> list[Any]:
        at_column = column(book, form, key)
        rows = range(FIRST, FIRST + len(changes))
        return [sheet_of(book, form).cell(row, at_column).value for row in rows]

    assert shown(DECISIONS, "change") == [first, last, *changes[1:-1]]
    assert shown(DECISIONS, "reason") == [brief(reason)] * len(changes)
    assert shown(DECISIONS, "group")[:3] == ["A", "A", None]
    # By hand: both gain 40 points. Of one the lower side is the root of 3^2 + 4^2, 5 points, the
    # upper of 12^2 + 5^2, 13; of the mean of 10 and 30 labels the root of (5/4)^2 + (15/4)^2, 3.95,
    # and 10.28.
    assert shown(DECISIONS, "gain")[:3] == ["40 (36 to 50)", "40 (36 to 50)", "40 (35 to 53)"]
    assert shown(DECISIONS, "cost")[:3] == [384, 384, 96]  # 24 h x 40 points
    assert shown(DECISIONS, "chance")[:2] == [0.97, 0.97]
    assert shown(DECISIONS, "refused")[2] is None
    assert shown(DECISIONS, "refused")[1].endswith(
        "refused on 2 Oct 2026 by T. Aldervane until 1 Feb 2027: refit"
    )
    assert shown(DECISIONS, "decision")[1] == ANOTHER
    assert shown(DECISIONS, "other")[1] == 26
    assert shown(RESULTS, "to")[-1] == 26
    fills = [
        sheet_of(book, DECISIONS).cell(row, 1).fill.fgColor.rgb for row in range(FIRST, FIRST + 3)
    ]
    assert fills[0] == fills[1] != fills[2]


def test_drop_downs_offer_what_is_read_back(out: Out) -> None:
    """The words of the store's language, approvers without the proposer, dates from the plan on."""
    for store, language in (("S001", "en"), ("S002", "de")):
        book = load_workbook(out.write(store))
        rules = {
            (form.sheet, str(rule.sqref).split(":", maxsplit=1)[0]): rule
            for form in (DECISIONS, RESULTS)
            for rule in sheet_of(book, form).data_validations.dataValidation
        }

        def of(form: Form, key: str, book: Workbook = book, rules: Any = rules) -> Any:  # noqa: ANN401 - rules of a library
            cell = sheet_of(book, form).cell(FIRST, column(book, form, key))
            return rules[form.sheet, cell.coordinate]

        words = ",".join(word(meaning, language) for meaning in DECISION_WORDS)
        assert of(DECISIONS, "decision").formula1 == f'"{words}"'
        outcomes = ",".join(word(meaning, language) for meaning in OUTCOME_WORDS)
        assert of(RESULTS, "outcome").formula1 == f'"{outcomes}"'
        assert of(DECISIONS, "by").formula1 == f"{COPY}!$B$3:$B$3"
        assert book[COPY]["B3"].value == BY
        assert of(DECISIONS, "date").formula1 == f"DATE({SEEN.year},{SEEN.month},{SEEN.day})"
        for rule in rules.values():
            assert 0 < len(rule.promptTitle) <= 32
            assert 0 < len(rule.prompt) <= 225
            assert (rule.type is None) == (rule.error is None)


def test_the_job_sheet_opens_with_the_cautions(out: Out) -> None:
    """Height, mains, voids, lone work, the public, radio, and who has the last word."""
    note = str(sheet_of(load_workbook(out.write("S001")), RESULTS)["A2"].value)

    for hint in ("Ladders", "mains", "voids", "alone", "public", "radio", "licensed practice"):
        assert hint in note


def test_a_store_without_a_change_has_forms_that_say_so(out: Out) -> None:
    """Nothing to decide, nothing to carry out; coming back it changes nothing."""
    path = out.write("S004")
    book = load_workbook(path)

    top = [cell.value for cell in sheet_of(book, DECISIONS)[1]]
    assert "nichts zu entscheiden" in " ".join(map(str, top)).lower()
    assert out.decide(path)[0][:3] == (0, 0, 0)


def test_a_workbook_is_known_whatever_language_its_sheets_are_named_in(out: Out) -> None:
    """A refusal names the sheet as people see it; an English name in a German workbook will do."""
    path = out.write("S002")
    count = filled_in(path, "de")
    book = load_workbook(path)
    assert book.sheetnames[:4] == ["Übersicht", "Umstellungen", "Entscheidungen", "Ergebnisse"]
    fill(book, DECISIONS, FIRST, by="Nobody")
    book.save(path)
    ((_, _, _, refused),) = out.decide(path)
    assert any("sheet Entscheidungen, cell" in str(refusal) for refusal in refused)

    fill(book, DECISIONS, FIRST, by=BY)
    for form, title in ((DECISIONS, " decisions"), (RESULTS, "RESULTS")):
        sheet_of(book, form).title = title
    book.save(path)

    assert out.decide(path)[0][3] == []
    assert len([e for e in history(out.database) if e.state == "approved"]) >= count


@pytest.mark.parametrize("store", STORES)
def test_what_is_filled_in_is_read_back(out: Out, store: str) -> None:
    """Saved by a library that is not ours to command: every decision and result, none refused."""
    path = out.write(store)
    count = filled_in(path, "de" if store == "S002" else "en")

    assert out.decide(path) == [(count, count - 1, 0, [])]
    told = [(e.state, e.at, e.by, e.note) for e in history(out.database) if e.result]
    assert told == [("implemented", NIGHT, "Zoë Łąka", "ü 26 → 25")] * (count - 1)
    assert out.decide(path) == [(0, 0, 2 * count - 1, [])]
    again = load_workbook(out.write(store))  # written anew, it shows what is on file
    cell = sheet_of(again, DECISIONS).cell(FIRST, column(again, DECISIONS, "by"))
    assert cell.value == BY
    assert out.decide(path) == [(0, 0, 2 * count - 1, [])]


@pytest.mark.slow
@pytest.mark.skipif(not SOFFICE, reason="LibreOffice is not installed")
def test_saved_by_libreoffice_nothing_is_lost(out: Out, tmp_path: Path) -> None:
    """Opened and saved as .xlsx headless: all decisions and results, and none refused."""
    counts = {
        store: filled_in(out.write(store), "de" if store == "S002" else "en") for store in STORES
    }
    back = tmp_path / "back"
    profile = f"-env:UserInstallation=file://{tmp_path / 'profile'}"
    paths = [str(out.folder / f"{store}.xlsx") for store in STORES]
    subprocess.run(
        [SOFFICE, profile, "--headless", "--convert-to", "xlsx", "--outdir", back, *paths],
        check=True, capture_output=True, timeout=180,
    )  # fmt: skip

    assert sorted(path.name for path in back.iterdir()) == [f"{store}.xlsx" for store in STORES]
    assert out.decide(back) == [(counts[store], counts[store] - 1, 0, []) for store in STORES]
    assert out.decide(out.folder) == [(0, 0, 2 * counts[store] - 1, []) for store in STORES]


def test_an_edited_cell_of_any_form_is_named(out: Out) -> None:
    """On Decisions, Results and Moves: sheet and cell, and only that change is held back."""
    path = out.write("S001")
    filled_in(path)
    book = load_workbook(path)
    book["Moves"]["H4"] = "for no reason"
    sheet_of(book, RESULTS).cell(FIRST + 1, column(book, RESULTS, "mounted")).value = "basement"
    book.save(path)

    ((decisions, results, _, refusals),) = out.decide(path)

    assert "sheet Moves, cell H4: a locked cell was edited" in refusals[0]
    assert "sheet Results, cell E6: a locked cell was edited: it now says 'basement'" in "".join(
        refusals
    )
    assert (decisions, results) == (3, 1)  # what was not decided cannot be carried out


def test_the_back_out_is_reported_on_its_own_workbook(out: Out) -> None:
    """The way back in order on one sheet, its form on the other; coming back it is on file."""
    path = out.write("S001")
    filled_in(path)
    out.decide(path)
    steps = back_out(out.database, "S001", date(2026, 12, 31))
    (undo,) = write_back_out(out.database, out.folder, steps)
    book = load_workbook(undo)
    listed = [tuple(cell.value for cell in row) for row in book["Back-out"].iter_rows(min_row=2)]

    assert undo.name == f"back-out-{steps[0].plan}.xlsx"
    assert [(row[2], row[5], row[6]) for row in listed] == [
        (step.station, step.from_channel, step.to_channel) for step in steps
    ]
    for row in range(FIRST, FIRST + len(steps)):
        fill(book, RESULTS, row, done_at=datetime(2026, 10, 22, 1), outcome="backed out", by="team")
    book.save(undo)
    assert out.decide(undo) == [(0, 3, 0, [])]
    undone = [states(out.database)[step.change] for step in steps]
    assert undone == ["backed out"] * 3


JUNK = (
    None, "", "approved", "refused", "Approved\n", "approve", "verified", "genehmigt", "done",
    "x" * 400, 0, 1, -1, 3.5, 1e300, True, "=1+1", "=DECISION", "#REF!", "#N/A", BY,
    "R. Quellbach", "Nobody", date(2026, 10, 5), date(1900, 1, 1), date(9999, 12, 31),
    datetime(2026, 10, 5, 3), "2026-10-05", "5.10.2026", "31.02.2026", "change", "decision",
    "\u202e", "🙂", "0123456789-01",
)  # fmt: skip


def mutate(path: Path, chance: random.Random) -> None:
    """Damage a workbook as people, programs and disks do."""
    if chance.random() < 0.15:
        octets = bytearray(path.read_bytes())
        for _ in range(chance.randint(1, 20)):
            octets[chance.randrange(len(octets))] = chance.randrange(256)
        path.write_bytes(octets[: chance.choice((len(octets), chance.randrange(len(octets))))])
        return
    book = load_workbook(path)
    for _ in range(chance.randint(1, 12)):
        forms = sorted((tabs_of(DECISIONS.sheet) | tabs_of(RESULTS.sheet)) & set(book.sheetnames))
        likely = forms if forms and chance.random() < 0.6 else book.sheetnames
        damage(book, book[chance.choice(likely)], chance)
    book.save(path)


def damage(book: Workbook, sheet: Any, chance: random.Random) -> None:  # noqa: ANN401 - any sheet
    """Overwrite a cell, or take away or add a row, a column or a sheet."""
    row, at, kind = chance.randint(1, 9), chance.randint(1, 16), chance.random()
    if kind < 0.8:
        cell = sheet.cell(row, at)
        if isinstance(cell, Cell):  # others are hidden below a merged one
            cell.value = chance.choice(JUNK)
    elif kind < 0.86:
        sheet.delete_rows(row)
    elif kind < 0.92:
        sheet.delete_cols(at)
    elif kind < 0.96:
        sheet.insert_cols(at)
    elif len(book.sheetnames) > 1:
        del book[sheet.title]


def rows_with(path: Path, change: str) -> list[list[object]]:
    """Return the rows of Decisions that hold a change's name anywhere, read plainly."""
    try:
        book = load_workbook(path)
    except Exception:  # noqa: BLE001 - damaged beyond reading
        return []
    wanted = [s for s in book.worksheets if s.title.strip().casefold() == "decisions"]
    return [list(row) for s in wanted for row in s.iter_rows(values_only=True) if change in row]


def says(row: list[object], state: str) -> bool:
    """Tell whether a row holds a valid decision that leads to a state, wherever in it."""
    words = {"approved": ("approved", "genehmigt"), "refused": ("refused",)}[state]
    days = (date(2026, 10, 5), "2026-10-05", "5.10.2026")
    plain = [value.date() if isinstance(value, datetime) else value for value in row]
    texts = [value.strip() for value in row if isinstance(value, str)]
    return (
        BY in texts
        and any(day in plain for day in days)
        and any(text.casefold() in words for text in texts)
    )


def fuzz(out: Out, first: int, count: int) -> int:
    """Send so many damaged workbooks back; return how many decisions were taken all the same."""
    whole = out.write("S001")
    filled_in(whole)
    book = load_workbook(whole)
    for name in ("Channels", "Findings", "Evidence", "Stations"):
        del book[name]  # nobody reads them back; without them the rest is quicker
    book.save(whole)
    octets = whole.read_bytes()
    whole.unlink()
    path = out.folder / "fuzzed.xlsx"
    taken, before = 0, max(event.seq for event in history(out.database))
    for seed in range(first, first + count):
        path.write_bytes(octets)
        mutate(path, random.Random(seed))
        for one in decide(out.database, out.settings, [path]):
            assert all(refusal.sentence for refusal in one.refusals)
        events = [e for e in history(out.database) if e.seq > before and e.result is None]
        for event in events:
            found = rows_with(path, event.change)
            assert any(says(row, event.state) for row in found), (seed, event, found)
        taken += len(events)
        out.database.connection.execute("delete from change_event where seq > ?", [before])
    return taken


def test_damaged_workbooks_never_decide_by_accident(out: Out) -> None:
    """Ten of them: no traceback, and no decision but from a valid row; some still come through."""
    assert fuzz(out, 0, 10) > 4


@pytest.mark.slow
@pytest.mark.parametrize("first", [0, *range(1000, 2000, 100)])
def test_many_damaged_workbooks_never_decide_by_accident(out: Out, first: int) -> None:
    """1,100 of them."""
    assert fuzz(out, first, 100) > 40


def test_a_workbook_of_another_kind_is_refused(out: Out, tmp_path: Path) -> None:
    """An empty workbook, a zip of something else and one bomb of zeros: a sentence each."""
    folder = tmp_path / "odd"
    folder.mkdir()
    Workbook().save(folder / "a.xlsx")
    with zipfile.ZipFile(folder / "b.xlsx", "w") as archive:
        archive.writestr("letter.txt", "hello")
    with zipfile.ZipFile(folder / "c.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", bytes(201_000_000))

    assert len(out.decide(folder)) == 2  # another workbook in a folder is none of our business
    sentences = [refusals[0] for _, _, _, refusals in out.decide(*sorted(folder.iterdir()))]
    assert "neither a sheet Decisions nor a sheet Results" in sentences[0]
    assert "it is damaged" in sentences[1]
    assert "far too large" in sentences[2]
    assert names(out.database, "S001")


def test_nothing_is_said_to_be_lost_where_a_rule_has_a_station_leave_a_better_channel(
    demo_run: Ran,
) -> None:
    """N103-02 of the demo leaves a channel not permitted for a busier one: it gains less than 0."""
    book = load_workbook(demo_run.request.out / "North" / "N103" / "change-plan.xlsx")
    rows: list[tuple[Any, ...]] = list(book["Decisions"].iter_rows(values_only=True))
    top = next(n for n, row in enumerate(rows) if "change" in row)
    (change,) = [
        dict(zip(rows[top], row, strict=True))
        for row in rows[top + 1 :]
        if row[rows[top].index("station")] == "N103-02"
    ]
    assert change["cost"] is None
    assert change["clear_after"] < change["clear_before"]
    assert str(change["gain"]).startswith(MINUS)
