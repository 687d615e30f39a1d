"""Read a workbook that came back: its rows, every cell with its place, and what people wrote."""

import re
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from io import BytesIO
from pathlib import Path
from types import MappingProxyType
from zipfile import BadZipFile, ZipFile

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from pipeline.forms import (
    CHANGE,
    COMMISSION,
    COPY,
    DECISIONS,
    INVENTORY,
    LIST_BELOW,
    MOVES,
    PLAN_MARK,
    RESULTS,
    STORE_MARK,
    Form,
    folded,
    meaning,
    plain,
    plan_in,
    tabs_of,
)
from pipeline.originals import Original
from pipeline.records import WorkbookRefusal

_MOST_OCTETS = 200_000_000  # unpacked; ours have less than a hundredth of it
_MOST_ROWS, _MOST_COLUMNS = 20_000, 200
_KEYS_WITHIN = 30  # rows from the top in which the row of keys is looked for
_LONGEST = 200  # letters of what is quoted back
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[ T](\d{1,2}):(\d{2})(?::\d{2})?)?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?: (\d{1,2}):(\d{2}))?")


class EntryProblem(ValueError):
    """A cell does not hold what it should; its text says what is wrong."""


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell of a workbook: where it is and what it holds."""

    at: str
    value: object
    formula: bool = False
    percent: bool = False  # numbers show as percentages: 0.4 was typed as 40 %

    @property
    def text(self) -> str:
        """What it holds, as a text to compare."""
        return plain(self.value)

    @property
    def typed(self) -> str:
        """What was typed.

        Raises:
            EntryProblem: it is a formula.
        """
        if self.formula:
            raise EntryProblem("it holds a formula; type the value itself")
        return self.value if isinstance(self.value, str) else self.text

    @property
    def quoted(self) -> str:
        """What it holds, cut short where it is long."""
        return self.text if len(self.text) <= _LONGEST else f"{self.text[:_LONGEST]}…"


Cells = Mapping[str, Cell]
"""A row of a form: its cells by the key of their column."""


_NOTHING = Original("", b"")


@dataclass(frozen=True, slots=True)
class Returned:
    """A workbook as it came back."""

    workbook: str
    file: str = ""
    plan: str | None = None
    store: str | None = None
    decisions: tuple[Cells, ...] = ()
    results: tuple[Cells, ...] = ()
    commissioned: tuple[Cells, ...] = ()
    inventory: tuple[Cells, ...] = ()
    moves: tuple[tuple[Cell, ...], ...] = ()
    written: Mapping[tuple[str, str], Mapping[str, str]] = field(
        default_factory=lambda: MappingProxyType({})
    )  # (sheet, change) to the texts of its locked cells, by key
    refusals: tuple[WorkbookRefusal, ...] = ()
    foreign: bool = False  # no workbook of ours: it has none of the sheets to fill in
    tabs: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    original: Original = _NOTHING

    def tab(self, sheet: str) -> str:
        """Return what a sheet is called in this workbook."""
        return self.tabs.get(sheet, sheet)


def files_of(paths: Sequence[Path]) -> list[Path]:
    """Return the workbooks named, and those in the folders named, in order of their names."""
    found: set[Path] = set()
    for path in paths:
        if path.is_dir():
            inside = (p for p in path.rglob("*") if p.suffix.lower() == ".xlsx" and p.is_file())
            found.update(p for p in inside if not p.name.startswith((".", "~$")))
        else:
            found.add(path)
    return sorted(found)


def read_workbook(
    path: Path, forms: Sequence[Form] = (DECISIONS, RESULTS, COMMISSION, INVENTORY)
) -> Returned:
    """Return what a workbook says; one that cannot be read is refused with the reason.

    `forms` are the sheets to read; the first is returned as decisions.
    """
    try:
        original = Original(path.name, path.read_bytes())  # once: the digest is of what is read
        with ZipFile(BytesIO(original.octets)) as parts:
            unpacked = sum(part.file_size for part in parts.infolist())
        if unpacked > _MOST_OCTETS:
            return _refused(path, "it is far too large for a change plan")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what openpyxl cannot keep, we do not need
            book = load_workbook(BytesIO(original.octets), keep_links=False)
    except (OSError, BadZipFile) as error:
        why = getattr(error, "strerror", None) or "it is not a workbook (.xlsx)"
        return _refused(path, f"it cannot be opened: {why}")
    except Exception as error:  # noqa: BLE001 - a damaged file fails anywhere in the library
        return _refused(path, f"it is damaged ({type(error).__name__}); save it again as .xlsx")
    try:
        return replace(_read(path, book, forms), original=original)
    finally:
        book.close()


def _refused(path: Path, why: str, *, foreign: bool = False) -> Returned:
    refusal = WorkbookRefusal(_label(path), None, None, None, why)
    return Returned(_label(path), refusals=(refusal,), foreign=foreign)


def _label(path: Path) -> str:
    """Return a workbook's name with its folder: every store's change plan has the same name."""
    return "/".join(path.absolute().parts[-2:])


def _read(path: Path, book: Workbook, forms: Sequence[Form]) -> Returned:
    marks, written = _copies(book)
    refusals: list[WorkbookRefusal] = []
    rows: dict[str, tuple[Cells, ...]] = {}
    plan, store = marks.get(PLAN_MARK), marks.get(STORE_MARK)
    for form in forms:
        sheet = _sheet(book, form.sheet)
        if sheet is None:
            continue
        plan = plan or _visible_plan(sheet)
        keys = _keys(sheet, form)
        if isinstance(keys, str):
            refusals.append(WorkbookRefusal(_label(path), store, sheet.title, None, keys))
        else:
            rows[form.sheet] = tuple(_rows(sheet, form, *keys))
    if not rows and not refusals:
        neither = "it has neither a sheet Decisions nor a sheet Results: send back the change plan"
        neither = neither if DECISIONS in forms else f"it has no sheet {forms[0].sheet}"
        return _refused(path, neither, foreign=not marks)
    return Returned(
        _label(path),
        path.name,
        plan,
        store,
        rows.get(forms[0].sheet, ()),
        rows.get(RESULTS.sheet, ()),
        rows.get(COMMISSION.sheet, ()),
        rows.get(INVENTORY.sheet, ()),
        tuple(_cells(_sheet(book, MOVES))),
        written,
        tuple(refusals),
        tabs={form.sheet: sheet.title for form in forms if (sheet := _sheet(book, form.sheet))},
    )


def _sheet(book: Workbook, name: str) -> Worksheet | None:
    """Return the sheet of that name in any language, capitals and spaces aside."""
    wanted = set(map(folded, tabs_of(name)))
    return next((s for s in book.worksheets if folded(s.title) in wanted), None)


def _copies(book: Workbook) -> tuple[dict[str, str], Mapping[tuple[str, str], Mapping[str, str]]]:
    """Return marks and the second copy of the locked cells; both empty where the sheet is gone."""
    marks: dict[str, str] = {}
    written: dict[tuple[str, str], dict[str, str]] = {}
    for cells in _cells(_sheet(book, COPY)):
        texts = [cell.text for cell in cells]
        if len(texts) == 2:  # noqa: PLR2004 - mark and value
            marks[texts[0]] = texts[1]
        elif len(texts) > 2:  # noqa: PLR2004 - sheet, change, key, and a text unless it is empty
            sheet, change, key, text, *_ = (*texts, "")
            written.setdefault((sheet, change), {})[key] = text
    return marks, written


def _cells(sheet: Worksheet | None) -> Iterator[tuple[Cell, ...]]:
    """Yield the rows of a sheet up to their last cell that holds something."""
    if sheet is None:
        return
    most = (min(sheet.max_row, _MOST_ROWS), min(sheet.max_column, _MOST_COLUMNS))
    for row in sheet.iter_rows(max_row=most[0], max_col=most[1]):
        last = max((at for at, cell in enumerate(row) if cell.value is not None), default=-1)
        yield tuple(
            Cell(one.coordinate, _known(one.value), one.data_type == "f", "%" in one.number_format)
            for one in row[: last + 1]
        )


def _known(value: object) -> object:
    """Return a value as it is; a formula over several cells has none."""
    plainly = value is None or isinstance(value, str | int | float | date | time | timedelta)
    return value if plainly else "="


def _visible_plan(sheet: Worksheet) -> str | None:
    top = next(_cells(sheet), ())
    plans = (plan_in(cell.value) for cell in top if isinstance(cell.value, str))
    return next((plan for plan in plans if plan), None)


def _keys(sheet: Worksheet, form: Form) -> tuple[int, dict[int, str]] | str:
    """Return the number of the row of keys and the key of each column, or what is wrong."""
    for number, cells in enumerate(_cells(sheet), start=1):
        if number > _KEYS_WITHIN:
            break
        texts = [cell.text for cell in cells]
        if CHANGE not in texts or not set(form.entries) & set(texts):
            continue
        missing = [key for key in form.keys if key not in (*texts, *form.later)]
        twice = [key for key in form.keys if texts.count(key) > 1]
        if missing or twice:
            wrong = f"lacks the column '{missing[0]}'" if missing else f"has '{twice[0]}' twice"
            return f"its hidden row of keys {wrong}; fill in the workbook as it was sent out"
        return number, {at: text for at, text in enumerate(texts) if text in form.keys}
    return "its hidden row of keys is gone; fill in the workbook as it was sent out"


def _rows(sheet: Worksheet, form: Form, number: int, keys: Mapping[int, str]) -> Iterator[Cells]:
    """Yield the rows below the headings that hold anything in the columns of the form.

    A column that it lacks is empty, in the place of the row's change.
    """
    for line, cells in enumerate(_cells(sheet), start=1):
        if line <= number + 1:  # the keys, and the headings below them
            continue
        if cells and cells[0].text == LIST_BELOW:
            return
        row = {
            key: cells[at] if at < len(cells) else Cell(f"{get_column_letter(at + 1)}{line}", None)
            for at, key in keys.items()
        }
        if any(cell.text for cell in row.values()):
            yield {key: row.get(key, Cell(row[CHANGE].at, None)) for key in form.keys}


def written_at(returned: Returned, form: Form, row: Cells, cell: str) -> dict[str, str]:
    """Return where a row's answer stands: file and cell, and who and when as they were written."""
    when = next(key for key in ("date", "done_at") if key in form.keys)
    return {
        "workbook_sha256": returned.original.sha256,
        "cell": f"{returned.tab(form.sheet)}!{cell}",
        "by_written": row["by"].quoted,
        "at_written": row[when].quoted,
    }


def read_choice(cell: Cell, among: tuple[str, ...]) -> str:
    """Return what the chosen word means.

    Raises:
        EntryProblem: it is none of the words.
    """
    found = meaning(cell.typed, among) if isinstance(cell.value, str) else None
    if found is None:
        wrong = f"'{cell.quoted}' is not" if cell.text else "it is empty, its row is not: choose"
        raise EntryProblem(f"{wrong} one of {', '.join(among)}")
    return found


def read_channel(cell: Cell) -> int:
    """Return the channel in a cell.

    Raises:
        EntryProblem: it holds something else.
    """
    if isinstance(cell.value, bool) or not cell.typed.strip().isdecimal():
        raise EntryProblem(f"'{cell.quoted}' is not a channel; write its number alone")
    return int(cell.typed)


def read_approver(cell: Cell, names: Sequence[str], proposer: str) -> str:
    """Return the approver as the rules file writes the name.

    Raises:
        EntryProblem: no name, none of the approvers, or the one who proposed the change.
    """
    if not cell.text:
        raise EntryProblem("it does not say who decided")
    found = [name for name in names if folded(name) == folded(cell.typed)]
    if not found:
        known = ", ".join(names) or "nobody"
        raise EntryProblem(f"'{cell.quoted}' is not an approver; the rules file names {known}")
    if folded(found[0]) == folded(proposer):
        raise EntryProblem(f"{found[0]} proposed this change and may not decide on it")
    return found[0]


def read_name(cell: Cell) -> str:
    """Return who did the work.

    Raises:
        EntryProblem: no name.
    """
    if not cell.text:
        raise EntryProblem("it does not say who did the work")
    if not isinstance(cell.value, str):
        raise EntryProblem(f"'{cell.quoted}' is not a name")
    return " ".join(cell.typed.split())[:_LONGEST]


def read_note(cell: Cell) -> str:
    """Return a note; empty where there is none.

    Raises:
        EntryProblem: it is a formula.
    """
    return " ".join(cell.typed.split())


def read_day(cell: Cell) -> datetime:
    """Return the start of the day in a cell.

    Raises:
        EntryProblem: no day can be read.
    """
    return datetime.combine(read_moment(cell).date(), time())


def read_moment(cell: Cell) -> datetime:
    """Return the day in a cell, with its time of day where it has one.

    Texts may be written 2026-10-05 or 05.10.2026, with 22:30 behind them.

    Raises:
        EntryProblem: no day can be read.
    """
    value = cell.value
    if isinstance(value, datetime):  # spreadsheets keep fractions of days, not minutes
        whole = value.replace(tzinfo=None) + timedelta(seconds=30)
        return whole.replace(second=0, microsecond=0)
    if isinstance(value, date):
        return datetime.combine(value, time())
    if not cell.text:
        raise EntryProblem("it has no date")
    typed = cell.typed.strip()
    found = _written(typed) if isinstance(value, str) else None
    if found is None:
        raise EntryProblem(f"'{cell.quoted}' is not a date; write it as 2026-10-05")
    return found


def _written(text: str) -> datetime | None:
    if match := _ISO.fullmatch(text):
        year, month, of_month, hour, minute = match.groups()
    elif match := _DOTTED.fullmatch(text):
        of_month, month, year, hour, minute = match.groups()
    else:
        return None
    try:
        return datetime(int(year), int(month), int(of_month), int(hour or 0), int(minute or 0))  # noqa: DTZ001 - the store's own clock
    except ValueError:
        return None
