"""The sheets people fill in, and the hidden one that lets an edited cell be told."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from pipeline import forms
from pipeline.forms import CHANGE, COPY, DECISIONS, MOVES, RESULTS, Form, plain, word
from pipeline.report import style
from pipeline.report.content import Change, Plan, Station, StoreContent
from pipeline.report.entry_rules import approvers, entry_rule
from pipeline.report.sheet import (
    PAGE_LETTERS,
    Book,
    Column,
    Look,
    Page,
    Value,
    column_width,
    font,
    row_height,
    under,
    writable,
)
from pipeline.report.wording import NOTHING

_TITLE, _NOTE, _KEYS, _HEADINGS, _FIRST = range(5)  # rows
_ROOM = 1.12  # bold headings run wider
_CAUTIONS = ("ladders", "mains", "voids", "lone", "public", "radio", "defer")
_LOOKS: Mapping[str, tuple[Look, int]] = {
    CHANGE: (Look.TEXT, 16), "order": (Look.COUNT, 8), "station": (Look.LONG, 26),
    "name": (Look.LONG, 26), "mounted": (Look.LONG, 28), "from": (Look.COUNT, 10),
    "to": (Look.COUNT, 10), "kind": (Look.TEXT, 12), "clear_before": (Look.PERCENT, 12),
    "clear_after": (Look.PERCENT, 12), "state": (Look.TEXT, 16), "due": (Look.MOMENT, 19),
    "decision": (Look.TEXT, 18), "by": (Look.TEXT, 24), "date": (Look.DAY, 14),
    "done_at": (Look.MOMENT, 19), "outcome": (Look.TEXT, 20), "note": (Look.LONG, 40),
}  # fmt: skip
_WIDE: Mapping[str, int] = {
    "decision": 18, "by": 22, "date": 14, "done_at": 19, "outcome": 19, "note": 34,
}  # fmt: skip

Copies = list[tuple[str, str, str, str]]
"""The locked cells as written: sheet, change, key, text."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A form about to be written: its words, its rows by key."""

    form: Form
    title: str
    note: str
    rows: tuple[Mapping[str, Value], ...]
    choices: Mapping[str, tuple[str, ...]]  # words offered, by key


def decisions(book: Book, content: StoreContent) -> Sheet:
    """Return the form on which changes are decided."""
    words, stations = book.words, _stations(content)
    rows = [
        {
            **_facts(book, change, stations),
            "clear_before": change.clear_air_before,
            "clear_after": change.clear_air_after,
            "decision": word(change.decision, words.language) if change.decision else None,
            "by": change.decided_by,
            "date": change.decided_on,
            "note": change.decision_note or None,
        }
        for change in content.changes
    ]
    note = _put_forward(book, content.plan) + words("decide.note" if rows else "decide.none")
    offered = tuple(word(meaning, words.language) for meaning in forms.DECISION_WORDS)
    title = _title(book, "decide.title", content)
    return Sheet(DECISIONS, title, note, tuple(rows), {"decision": offered})


def results(book: Book, content: StoreContent, *, back_out: bool = False) -> Sheet:
    """Return the form on which work is reported; it opens with the cautions."""
    words, stations = book.words, _stations(content)
    rows = [
        {
            **_facts(book, change, stations),
            "due": change.due,
            "done_at": change.done_at,
            "outcome": word(change.outcome, words.language) if change.outcome else None,
            "by": change.done_by,
            "note": change.done_note or None,
        }
        for change in content.changes
    ]
    cautions = " ".join(words(f"cautions.{key}") for key in _CAUTIONS)
    how = words("results.back_out_note" if back_out else "results.note" if rows else "results.none")
    meanings = ("backed out", "not done") if back_out else forms.OUTCOME_WORDS
    offered = tuple(word(meaning, words.language) for meaning in meanings)
    title = _title(book, "back_out.title" if back_out else "results.title", content)
    note = f"{words('cautions.title')}: {cautions}\n{how}"
    return Sheet(RESULTS, title, note, tuple(rows), {"outcome": offered})


def put_form(book: Book, page: Page, sheet: Sheet, content: StoreContent) -> Copies:
    """Write a form; return its locked cells for the hidden sheet."""
    columns = [_column(book, sheet.form, key) for key in sheet.form.keys]
    rows = [[row.get(key) for key in sheet.form.keys] for row in sheet.rows]
    widths = [
        max(column_width(column, place, rows), _WIDE.get(key, 0))
        for place, (key, column) in enumerate(zip(sheet.form.keys, columns, strict=True))
    ]
    for place, width in enumerate(widths):
        page.width(place, place, width)
    last = len(columns) - 1
    page.put(_TITLE, 0, sheet.title, book.title)
    page.height(_TITLE, 24)
    page.merge(
        _NOTE, last, sheet.note, book.look(font(), Alignment(vertical="top", wrap_text=True))
    )
    page.height(_NOTE, row_height([(sheet.note, sum(widths))]) + 4)
    fill_in = _fill_in_looks(book)
    for place, (key, head) in enumerate(zip(sheet.form.keys, columns, strict=True)):
        page.put(_KEYS, place, key, book.note)
        look = fill_in["heading"] if key in sheet.form.entries else book.heading
        page.put(_HEADINGS, place, head.heading, look)
    page.sheet.row_dimensions[_KEYS + 1].hidden = True
    headings = [(c.heading, w / _ROOM) for c, w in zip(columns, widths, strict=True)]
    page.height(_HEADINGS, max(32.0, row_height(headings) + 2))
    for number, row in enumerate(rows, start=_FIRST):
        for place, (key, value) in enumerate(zip(sheet.form.keys, row, strict=True)):
            look = columns[place].look
            free = key in sheet.form.entries
            page.put(number, place, value, fill_in[look] if free else book.looks[look])
        texts = [(v, w) for v, w in zip(row, widths, strict=True) if isinstance(v, str)]
        page.height(number, max(20.0, row_height(texts)))
    _print(page, len(rows), last, sum(widths))
    if rows:
        area = (_FIRST + 1, _FIRST + len(rows))
        for key in sheet.form.entries:
            column = get_column_letter(sheet.form.keys.index(key) + 1)
            rule = entry_rule(book.words, content, sheet.form, key, sheet.choices.get(key))
            rule.add(f"{column}{area[0]}:{column}{area[1]}")
            page.sheet.add_data_validation(rule)
    return _copies(sheet)


def put_copy(book: Book, content: StoreContent, copies: Copies, plan: str | None = None) -> None:
    """Write the hidden sheet: which plan and store this is, who may decide, and locked cells."""
    page = Page(book.book.create_sheet(COPY))
    look = book.looks[Look.TEXT]
    own = content.plan.plan if content.plan else ""
    marks = [(forms.PLAN_MARK, plan or own), (forms.STORE_MARK, content.store.store)]
    marks += [("approver", name) for name in approvers(content)]
    for number, row in enumerate([*marks, *copies]):
        for place, text in enumerate(row):
            page.put(number, place, text, look)
    page.sheet.sheet_state = "hidden"


def move_copies(rows: Sequence[Sequence[Value]]) -> Copies:
    """Return the cells of the list of moves for the hidden sheet: position and station first."""
    return [
        (MOVES, plain(row[0]), "station" if place == 1 else str(place), _text(value))
        for row in rows
        for place, value in enumerate(row)
        if value is not None
    ]


def lock(sheet: Worksheet) -> None:
    """Lock a sheet against slips; sorting, filtering and setting widths stay free."""
    protection = sheet.protection
    for freedom in ("sort", "autoFilter", "formatColumns", "formatRows", "insertColumns"):
        setattr(protection, freedom, False)  # the file says what is forbidden
    protection.sheet = True


def _facts(book: Book, change: Change, stations: Mapping[str, Station]) -> dict[str, Value]:
    station = stations.get(change.station)
    words = book.words
    return {
        CHANGE: change.change,
        "order": change.position,
        "station": change.station,
        "name": station.name if station else None,
        "mounted": station.mounted if station else None,
        "from": change.from_channel,
        "to": change.to_channel,
        "kind": words("moves.parking" if change.parking else "moves.final"),
        "state": words(f"state.{change.state.replace(' ', '_')}"),
    }


def _stations(content: StoreContent) -> Mapping[str, Station]:
    return {station.station: station for station in content.stations}


def _title(book: Book, key: str, content: StoreContent) -> str:
    """Return the title line, which names the plan, where there is one."""
    store, plan = content.store, content.plan.plan if content.plan else NOTHING
    return book.words(key, plan=plan, store=store.store, name=store.name)


def _put_forward(book: Book, plan: Plan | None) -> str:
    if plan is None:
        return ""
    by, day = plan.proposed_by or book.words("document.author"), book.words.day(plan.proposed_on)
    return f"{book.words('decide.put_forward', by=by, day=day)} "


def _column(book: Book, form: Form, key: str) -> Column:
    look, widest = _LOOKS[key]
    named = "done_by" if key == "by" and form is RESULTS else key
    headings = {"name": "station_name", "by": "decided_by", "note": "remark"}
    return Column(book.words(f"column.{headings.get(named, named)}"), look, widest)


def _fill_in_looks(book: Book) -> dict[str, Any]:
    """Return the looks of cells to fill in: shaded, framed, not locked."""
    day = book.words.day_cells()
    formats = {Look.DAY: day, Look.MOMENT: f"{day} hh:mm"}
    looks: dict[str, Any] = {
        look: book.unlocked(
            book.look(
                font(),
                Alignment("left", "top", indent=1, wrap_text=True),
                border=under(style.MUTED),
                fill=style.WASH,
                number_format=formats.get(look, "General"),
            )
        )
        for look in (Look.TEXT, Look.LONG, Look.DAY, Look.MOMENT)
    }
    looks["heading"] = book.look(
        font(bold=True),
        Alignment("left", "center", indent=1, wrap_text=True),
        border=under(style.INK),
        fill=style.WASH,
    )
    return looks


def _print(page: Page, rows: int, last: int, width: float) -> None:
    page.freeze(_FIRST, 3)
    page.sheet.print_title_rows = f"{_HEADINGS + 1}:{_HEADINGS + 1}"
    page.fit(1 if width <= PAGE_LETTERS * _ROOM else 2, 0)
    page.print_area(_HEADINGS + max(1, rows), last)
    if rows:
        right = get_column_letter(last + 1)
        page.sheet.auto_filter.ref = f"A{_HEADINGS + 1}:{right}{_HEADINGS + 1 + rows}"


def _copies(sheet: Sheet) -> Copies:
    return [
        (sheet.form.sheet, str(row[CHANGE]), key, _text(row.get(key)))
        for row in sheet.rows
        for key in sheet.form.locked
    ]


def _text(value: Value) -> str:
    return plain(writable(value) if isinstance(value, str) else value)
