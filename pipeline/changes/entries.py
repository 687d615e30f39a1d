"""What people wrote into a cell, as a value or as a sentence that says what is wrong."""

import re
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from pipeline.changes.returned import Cell
from pipeline.forms import folded, meaning

_LONGEST = 200  # letters of what is quoted back
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[ T](\d{1,2}):(\d{2})(?::\d{2})?)?")
_DOTTED = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?: (\d{1,2}):(\d{2}))?")


class EntryProblem(ValueError):
    """A cell does not hold what it should; the text is the sentence."""


def chosen(cell: Cell, among: tuple[str, ...]) -> str:
    """Return what the chosen word means.

    Raises:
        EntryProblem: it is none of the words.
    """
    found = meaning(_typed(cell), among) if isinstance(cell.value, str) else None
    if found is None:
        raise EntryProblem(f"'{_quoted(cell)}' is not one of {', '.join(among)}")
    return found


def approver(cell: Cell, names: Sequence[str], proposer: str) -> str:
    """Return the approver as the rules file writes the name.

    Raises:
        EntryProblem: no name, none of the approvers, or the one who proposed the change.
    """
    if not cell.text:
        raise EntryProblem("it does not say who decided")
    found = [name for name in names if folded(name) == folded(_typed(cell))]
    if not found:
        known = ", ".join(names) or "nobody"
        raise EntryProblem(f"'{_quoted(cell)}' is no approver of the rules file; it names {known}")
    if folded(found[0]) == folded(proposer):
        raise EntryProblem(f"{found[0]} put this change forward and may not decide on it")
    return found[0]


def name(cell: Cell) -> str:
    """Return who did the work.

    Raises:
        EntryProblem: no name.
    """
    if not cell.text:
        raise EntryProblem("it does not say who did the work")
    if not isinstance(cell.value, str):
        raise EntryProblem(f"'{_quoted(cell)}' is not a name")
    return " ".join(_typed(cell).split())[:_LONGEST]


def note(cell: Cell) -> str:
    """Return a note; empty where there is none.

    Raises:
        EntryProblem: it is a formula.
    """
    return " ".join(_typed(cell).split())


def day(cell: Cell) -> datetime:
    """Return the start of the day in a cell.

    Raises:
        EntryProblem: no day can be read.
    """
    return datetime.combine(moment(cell).date(), time())


def moment(cell: Cell) -> datetime:
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
    typed = _typed(cell).strip()
    found = _written(typed) if isinstance(value, str) else None
    if found is None:
        raise EntryProblem(f"'{_quoted(cell)}' is not a date; write it as 2026-10-05")
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


def _typed(cell: Cell) -> str:
    if cell.formula:
        raise EntryProblem("it holds a formula; type the value itself")
    return cell.value if isinstance(cell.value, str) else cell.text


def _quoted(cell: Cell) -> str:
    text = cell.text
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
