"""The sheets people fill in, and the hidden sheet by which an edited cell is found."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from itertools import accumulate
from typing import Any, Protocol

from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.dimensions import RowDimension
from openpyxl.worksheet.worksheet import Worksheet

from pipeline import forms
from pipeline.forms import (
    COPY,
    DECISIONS,
    PLAN_MARK,
    RESULTS,
    STORE_MARK,
    Form,
    folded,
    word,
)
from pipeline.records import BackOutStep
from pipeline.report.kit import style
from pipeline.report.kit.column import Look, SheetColumn, column_width, row_height
from pipeline.report.kit.sheet import Book, Page, font, put_list, under
from pipeline.report.store.content import (
    CAUTIONS,
    RegisteredChange,
    StoreContent,
)
from pipeline.report.store.followed import behind_widths, outcome_note, put_behind
from pipeline.report.store.form_rows import (
    BACK_OUT,
    COMMISSION_COLUMNS,
    DECISION_COLUMNS,
    RESULT_COLUMNS,
    BackOutRow,
    Copies,
    commission_rows,
    copied,
    decision_rows,
    result_rows,
    work_rows,
)
from pipeline.tables.changes import LabelBehind
from pipeline.wording import NOTHING, Wording, wording
from pipeline.xlsx import workbook_bytes

_TITLE, _NOTE, _KEYS, _HEADINGS, _FIRST = range(5)  # rows
_ROOM = 1.12  # bold headings are wider
_LARGE_TITLE, _SMALL_TITLE = 16, 12  # points: of a title above its note, and beside it
_GAP = 6.0  # points, of the row below a title and a note beside it
_DAYS_AHEAD, _REFUSED_AHEAD = 400, 3660  # that a date cell takes; `decide` judges
_MOST_TEXT, _MOST_TITLE = 225, 32  # letters of a message (Excel's limits, from memory)
_BACK_OUT_SHEET = "Back-out"
_DECIDED = (DECISIONS, forms.INVENTORY)  # by approvers

"""The locked cells as written: sheet, change, key, text."""


# The least width of columns to fill in, in characters.
_LEAST = {
    "decision": 31, "other": 12, "by": 22, "date": 14, "until": 14, "done_at": 19, "outcome": 19,
    "note": 34, "value": 22,
}  # fmt: skip
_BANDS = (style.BUSY_STEPS[1], style.BUSY_STEPS[2])  # behind the rows that are one decision


class FilledRow(Protocol):
    """A row of a form: the number of its band, if any."""

    @property
    def band(self) -> int | None:
        """Rows of one band are one decision."""


@dataclass(frozen=True, slots=True)
class FilledForm:
    """A form to write: its title and note, its columns and rows, and the words to choose from.

    `takes` says what columns of its own take, and `messages` are the texts beside these.
    """

    form: Form
    title: str
    note: str
    columns: tuple[SheetColumn[Any], ...]
    rows: tuple[FilledRow, ...]
    chosen: tuple[str, ...]  # the keys of the columns whose words can be chosen
    choices: tuple[str, ...]
    takes: Mapping[str, DataValidation] = field(default_factory=dict)
    messages: str = ""
    below: tuple[LabelBehind, ...] = ()  # listed under the form


def decisions(book: Book, content: StoreContent) -> FilledForm:
    """Return the form on which changes are decided."""
    words, plan = book.words, content.plan
    note = _decisions_note(content, words)
    if plan is not None:
        by = plan.proposed_by or words("document.author")
        day = words.day(plan.proposed_on)
        note = f"{words('decide.put_forward', by=by, day=day)} {note}"
    return FilledForm(
        DECISIONS,
        form_title(words, "decide.title", content),
        note,
        tuple(DECISION_COLUMNS[key] for key in DECISIONS.keys),
        decision_rows(content),
        ("decision",),
        tuple(word(meaning, words.language) for meaning in forms.DECISION_WORDS),
    )


def _decisions_note(content: StoreContent, words: Wording) -> str:
    """Return what to do on the form, as page one asks: decide, put forward first, or nothing."""
    if content.moves and not content.changes:
        return words.counted("decide.put_forward_first", len(content.moves))
    if not content.changes:
        return words("decide.none")
    open_ = any(change.state in ("proposed", "deferred") for change in content.changes)
    lead = "" if open_ else words.counted("decide.all_decided", len(content.changes)) + " "
    return lead + words("decide.note")


def results(book: Book, content: StoreContent, *, back_out: bool = False) -> FilledForm:
    """Return the form on which work is reported, with the cautions above it."""
    words = book.words
    cautions = " ".join(words(f"cautions.{key}") for key in CAUTIONS)
    none = "results.first_only" if commission_rows(content) else "results.none"
    note = "results.note" if result_rows(content) else none
    how = words("results.back_out_note" if back_out else note)
    meanings = ("backed out", "not done") if back_out else forms.OUTCOME_WORDS
    before = "" if back_out else outcome_note(content.outcomes, words)
    return FilledForm(
        RESULTS,
        form_title(words, "back_out.title" if back_out else "results.title", content),
        "\n".join(filter(None, (f"{words('cautions.title')}: {cautions}", how, before))),
        tuple(RESULT_COLUMNS[key] for key in RESULTS.keys),
        work_rows(content) if back_out else result_rows(content),
        ("outcome",),
        tuple(word(meaning, words.language) for meaning in meanings),
        below=() if back_out else content.behind,
    )


def commissioning(book: Book, content: StoreContent) -> FilledForm:
    """Return the form on which stations set for the first time are accepted, with the cautions."""
    words = book.words
    cautions = " ".join(words(f"cautions.{key}") for key in CAUTIONS)
    return FilledForm(
        forms.COMMISSION,
        form_title(words, "commission.title", content),
        f"{words('cautions.title')}: {cautions}\n{words('commission.note')}",
        tuple(COMMISSION_COLUMNS[key] for key in forms.COMMISSION.keys),
        commission_rows(content),
        forms.CHECKS,
        tuple(word(meaning, words.language) for meaning in forms.YES_NO),
    )


def form_title(words: Wording, key: str, content: StoreContent) -> str:
    """Return the title line, which names the plan if there is one."""
    store, plan = content.store, content.plan.plan if content.plan else NOTHING
    return words(key, plan=plan, store=store.store, name=store.name)


def put_form(book: Book, page: Page, filled: FilledForm, content: StoreContent) -> Copies:
    """Write a form; return its locked cells for the hidden sheet."""
    form, columns = filled.form, filled.columns
    headings = [column.title(book.words) for column in columns]
    rows = [[column.value(row, book.words) for column in columns] for row in filled.rows]
    least = {**_LEAST, **behind_widths(filled.below)}
    widths = [
        max(column_width(heading, column, [row[place] for row in rows]), least.get(key, 0))
        for place, (key, heading, column) in enumerate(
            zip(form.keys, headings, columns, strict=True)
        )
    ]
    kept = form.keys.index("station") + 1
    _put_words(book, page, filled, widths, kept)
    fill_in, bands = _put_headings(book, page, filled, headings, widths), _bands(book)
    for number, row in enumerate(rows, start=_FIRST):
        band = filled.rows[number - _FIRST].band
        locked = book.looks if band is None else bands[band % len(bands)]
        for place, (key, value) in enumerate(zip(form.keys, row, strict=True)):
            looks = fill_in if key in form.entries else locked
            page.put(number, place, value, looks[columns[place].look])
        texts = [(v, w) for v, w in zip(row, widths, strict=True) if isinstance(v, str)]
        page.height(number, max(20.0, row_height(texts)))
    end = put_behind(book, page, _FIRST + len(rows), form.keys, filled.below)
    _set_print(page, len(rows), widths, kept)
    page.print_area(max(_FIRST, end), len(widths) - 1)
    if rows:
        for key in form.entries:
            letter = get_column_letter(form.keys.index(key) + 1)
            rule = _entry_rule(book.words, content, filled, key)
            rule.add(f"{letter}{_FIRST + 1}:{letter}{_FIRST + len(rows)}")
            page.sheet.add_data_validation(rule)
    return [
        (form.sheet, str(row[0]), key, copied(value))
        for row in rows
        for key, value in zip(form.keys, row, strict=True)
        if key in form.locked
    ]


def _put_words(
    book: Book, page: Page, filled: FilledForm, widths: Sequence[float], kept: int
) -> None:
    """Write title and note: below one another, or side by side where it prints on more pages.

    The columns kept repeat on every page, and what reaches beyond them would be cut there: so the
    title has them to itself, and the note has the rest of the first page.
    """
    plain = Alignment(vertical="top", wrap_text=True)
    note = book.look(font(), plain)
    most = sum(widths) / _pages(widths, kept)
    last = sum(end <= most for end in accumulate(widths)) - 1
    if _pages(widths, kept) == 1:
        large = book.look(font(bold=True, size=_LARGE_TITLE), plain)
        page.merge(_TITLE, last, filled.title, large)
        room = sum(widths) / (_LARGE_TITLE / 10 * _ROOM)
        page.height(_TITLE, row_height([(filled.title, room)]) * _LARGE_TITLE / 10)
        page.merge(_NOTE, last, filled.note, note)
        page.height(_NOTE, row_height([(filled.note, sum(widths))]) + 4)
        return
    page.merge(_TITLE, kept - 1, filled.title, book.look(font(bold=True, size=_SMALL_TITLE), plain))
    page.merge(_TITLE, last, filled.note, note, kept)
    room = sum(widths[:kept]) / (_SMALL_TITLE / 10 * _ROOM)
    texts = [(filled.title, room), (filled.note, sum(widths[kept : last + 1]))]
    page.height(_TITLE, row_height(texts) * _SMALL_TITLE / 10 + 4)
    page.height(_NOTE, _GAP)


def _put_headings(
    book: Book, page: Page, filled: FilledForm, headings: Sequence[str], widths: Sequence[float]
) -> Mapping[Look, Any]:
    """Write hidden keys and headings; return the looks of cells to fill in."""
    fill_in = fill_in_looks(book)
    entry = book.look(
        font(bold=True),
        Alignment("left", "center", indent=1, wrap_text=True),
        border=under(style.INK),
        fill=style.WASH,
    )
    for place, (key, heading) in enumerate(zip(filled.form.keys, headings, strict=True)):
        page.width(place, place, widths[place])
        page.put(_KEYS, place, key, book.note)
        page.put(_HEADINGS, place, heading, entry if key in filled.form.entries else book.heading)
    page.sheet.row_dimensions[_KEYS + 1] = RowDimension(page.sheet, hidden=True)
    bold = [(h, w / _ROOM) for h, w in zip(headings, widths, strict=True)]
    page.height(_HEADINGS, max(32.0, row_height(bold) + 2))
    return fill_in


def fill_in_looks(book: Book) -> Mapping[Look, Any]:
    """Return the looks of cells to fill in: shaded, framed, not locked."""
    day = book.words.days.cells
    formats = {Look.DAY: day, Look.MOMENT: f"{day} hh:mm"}
    return {
        look: book.varied(
            book.look(
                font(),
                Alignment("left", "top", indent=1, wrap_text=True),
                border=under(style.MUTED),
                fill=style.WASH,
                number_format=formats.get(look, "General"),
            ),
            locked=False,
        )
        for look in (Look.TEXT, Look.LONG, Look.DAY, Look.MOMENT)
    }


def _bands(book: Book) -> list[Mapping[Look, Any]]:
    """Return the looks of locked cells in each colour of a band."""
    return [{name: book.varied(look, fill) for name, look in book.looks.items()} for fill in _BANDS]


def _pages(widths: Sequence[float], kept: int) -> int:
    return style.pages_wide([width / _ROOM for width in widths], kept)


def _set_print(page: Page, rows: int, widths: Sequence[float], kept: int) -> None:
    """Freeze and repeat the headings and the first columns; print on as many pages as are wide."""
    page.freeze(_FIRST, kept)
    page.sheet.print_title_rows = f"{_HEADINGS + 1}:{_HEADINGS + 1}"
    pages = _pages(widths, kept)
    if pages > 1:
        page.sheet.print_title_cols = f"A:{get_column_letter(kept)}"
    page.fit(pages, 0)
    if rows:
        right = get_column_letter(len(widths))
        page.sheet.auto_filter.ref = f"A{_HEADINGS + 1}:{right}{_HEADINGS + 1 + rows}"


def _entry_rule(
    words: Wording, content: StoreContent, filled: FilledForm, key: str
) -> DataValidation:
    """Return what a column to fill in takes, with the messages beside it, for no cells yet."""
    rule = _taken(content, filled, key)
    worked = key == "by" and filled.form not in _DECIDED
    message = f"input.{'done_by' if worked else 'check' if key in forms.CHECKS else key}"
    message = f"input.{filled.messages}{key}" if key in filled.takes else message
    rule.promptTitle = words(f"{message}_title")[:_MOST_TITLE]
    channels = ", ".join(map(str, content.permitted)) or NOTHING
    rule.prompt = words(f"{message}_prompt", channels=channels)[:_MOST_TEXT]
    rule.showInputMessage = True
    if rule.type is not None:
        rule.errorTitle = words("input.error_title")[:_MOST_TITLE]
        rule.error = words(f"{message}_error")[:_MOST_TEXT]
        rule.showErrorMessage = True
    return rule


def _taken(content: StoreContent, filled: FilledForm, key: str) -> DataValidation:
    if key in filled.chosen:
        return DataValidation("list", f'"{",".join(filled.choices)}"', allow_blank=True)
    if key in filled.takes:
        return filled.takes[key]
    plan = content.plan
    if key in {"date", "until", "done_at"} and plan is not None:
        ahead = _REFUSED_AHEAD if key == "until" else _DAYS_AHEAD
        first, last = plan.proposed_on, plan.proposed_on + timedelta(days=ahead)
        ends = [f"DATE({day.year},{day.month},{day.day})" for day in (first, last)]
        return DataValidation("date", ends[0], ends[1], allow_blank=True, operator="between")
    names = _approvers(content)
    if key == "by" and filled.form in _DECIDED and names:
        first_row = len((PLAN_MARK, STORE_MARK)) + 1  # on the hidden sheet, below the marks
        cells = f"{COPY}!$B${first_row}:$B${first_row + len(names) - 1}"
        return DataValidation("list", cells, allow_blank=True)
    return DataValidation(allow_blank=True)


def _approvers(content: StoreContent) -> tuple[str, ...]:
    """Return who may decide on the store's changes: no one who proposed them."""
    proposer = folded(content.plan.proposed_by or "") if content.plan else ""
    return tuple(name for name in content.approvers if folded(name) != proposer)


def put_copy(book: Book, content: StoreContent, copies: Copies) -> None:
    """Write the hidden sheet: plan and store, who may decide, and a copy of the locked cells."""
    page = Page(book.book.create_sheet(COPY))
    marks = [
        (PLAN_MARK, content.plan.plan if content.plan else ""),
        (STORE_MARK, content.store.store),
        *(("approver", name) for name in _approvers(content)),
    ]
    for number, row in enumerate([*marks, *copies]):
        for place, text in enumerate(row):
            page.put(number, place, text, book.looks[Look.TEXT])
    page.sheet.sheet_state = "hidden"


def lock(sheet: Worksheet) -> None:
    """Lock a sheet against slips; sorting, filtering and setting widths stay possible."""
    protection = sheet.protection
    for freedom in ("sort", "autoFilter", "formatColumns", "formatRows", "insertColumns"):
        setattr(protection, freedom, False)  # the file format says what is forbidden
    protection.sheet = True


def back_out_workbook(content: StoreContent, steps: Sequence[BackOutStep]) -> bytes:
    """Return the way back as .xlsx; `content` holds the plan, and the changes to undo."""
    words = wording(content.store.country)
    title = form_title(words, "back_out.title", content)
    book = Book(words, style.page_size(content.store.country), content.seal, content.inputs)
    book.describe(title)
    book.book.properties.description = book.sealed
    undone = {step.change for step in steps}
    changes = [_blank(change) for change in reversed(content.changes) if change.change in undone]
    content = replace(content, changes=tuple(changes))
    stations = {station.station: station for station in content.stations}
    rows = [
        BackOutRow(position, step, stations.get(step.station))
        for position, step in enumerate(steps, start=1)
    ]
    put_list(book, book.sheet(_BACK_OUT_SHEET, title), BACK_OUT, rows)
    form = results(book, content, back_out=True)
    copies = put_form(book, book.sheet(form.form.sheet, title), form, content)
    put_copy(book, content, copies)
    for sheet in book.book.worksheets:
        lock(sheet)
    return workbook_bytes(book.book)


def _blank(change: RegisteredChange) -> RegisteredChange:
    """Return a change without a report of it; the report of its undoing is asked for."""
    return replace(change, outcome=None, done_at=None, done_by=None, done_note=None, due=None)
