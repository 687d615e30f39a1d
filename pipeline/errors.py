"""Errors a person can act on: one class per cause, each builds its own sentence."""

from collections.abc import Sequence
from datetime import date, datetime
from difflib import get_close_matches
from pathlib import Path


class QuietaisleError(Exception):
    """Base of every error that ends a command with one sentence."""


class SqlStatementMissing(QuietaisleError):
    """The installation lacks one of its own SQL statements."""

    def __init__(self, folder: Path, name: str) -> None:
        super().__init__(
            f"The installation is incomplete: {folder} lacks the statement '{name}'; "
            "install it again."
        )


class SqlNameRepeated(QuietaisleError):
    """Two SQL statements of one step have the same name."""

    def __init__(self, path: Path, name: str) -> None:
        super().__init__(f"{path} names a statement '{name}' that its step already has.")


class ColumnsDiffer(QuietaisleError):
    """The columns of a statement or a frame are not those of the record they are bound to."""

    def __init__(self, step: str, name: str, found: Sequence[str], wanted: Sequence[str]) -> None:
        odd = sorted(set(found) - set(wanted)) or "none"
        lacking = sorted(set(wanted) - set(found)) or "none"
        super().__init__(f"{step} {name}: unexpected columns: {odd}; missing columns: {lacking}.")


class DatabaseBusy(QuietaisleError):
    """Another process holds the database."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path} is in use by another process; wait for it to finish, "
            "or name another database with --database."
        )


class DatabaseUnreadable(QuietaisleError):
    """The file given as database is not one, or is damaged."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path} cannot be opened as a database: {why}")


class DatabaseNewer(QuietaisleError):
    """A newer version of this program made the database's tables."""

    def __init__(self, path: Path, found: int, known: int) -> None:
        super().__init__(
            f"{path} has tables of version {found}, this program knows versions up to {known}; "
            "install the newer program, or name another database with --database."
        )


class FolderMissing(QuietaisleError):
    """The folder of exports does not exist or is a file."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is not a folder; name the folder that holds the exports.")


class NothingToRead(QuietaisleError):
    """No export in the folder could be read and the database is empty."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path} holds no table that could be read as an export of stores and stations; "
            "`quietaisle template FOLDER` writes empty ones to fill in."
        )


class RulesFileUnreadable(QuietaisleError):
    """The rules file is not TOML or not there."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"The rules file {path} cannot be read: {why}")


class RulesKeyUnknown(QuietaisleError):
    """The rules file sets something that does not exist."""

    def __init__(self, path: Path, section: str, key: str, known: Sequence[str]) -> None:
        super().__init__(
            f"The rules file {path} sets '{key}' in [{section}], which nothing reads."
            f"{nearest(key, known)}"
        )


class RulesValueWrong(QuietaisleError):
    """The rules file gives a value of the wrong kind."""

    def __init__(self, path: Path, key: str, value: object, expected: str) -> None:
        super().__init__(f"The rules file {path} sets {key} = {value!r}; expected {expected}.")


class FreezeFileUnreadable(QuietaisleError):
    """A calendar of freezes is not there, or not one that can be read."""

    def __init__(self, file: str, why: str) -> None:
        super().__init__(
            f"The calendar of freezes {file} cannot be read: {why}. Export it again as an "
            "iCalendar file (.ics), or take it out of the rules file."
        )


class HolidayPartUnknown(QuietaisleError):
    """The rules file names a part of a country that the holiday calendar does not know."""

    def __init__(self, country: str, part: str, known: Sequence[str]) -> None:
        listed = ", ".join(known) or "none"
        super().__init__(
            f"[holidays] subdivision names '{part}', which is no part of {country}; "
            f"known are: {listed}."
        )


class HeadingFieldUnknown(QuietaisleError):
    """The rules file maps a heading to a field its kind does not have."""

    def __init__(self, kind: str, heading: str, field: str, known: Sequence[str]) -> None:
        super().__init__(
            f"The rules file maps the heading '{heading}' to '{field}' in [headings.{kind}]; "
            f"{kind} have {', '.join(known)}.{nearest(field, known)}"
        )


class UnknownSelection(QuietaisleError):
    """A store or region was asked for that no export names."""

    def __init__(self, kind: str, name: str, known: Sequence[str]) -> None:
        super().__init__(f"No {kind} '{name}' in the database.{nearest(name, known)}")


class RulesFolderMissing(QuietaisleError):
    """The user's folder of rules does not exist or is a file."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is not a folder; name the folder that holds your rules (*.sql).")


class UnknownRule(QuietaisleError):
    """A rule was named that no file defines."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(
            f"There is no rule '{name}'.{nearest(name, known)} `quietaisle rules` lists them all."
        )


class RuleUnusable(QuietaisleError):
    """A rule was asked for whose file cannot be read as one."""

    def __init__(self, file: str, line: int, sentence: str) -> None:
        super().__init__(f"{file}, line {line}: {sentence}")


class OutputNotWritable(QuietaisleError):
    """A report could not be put where it belongs."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path} cannot be written: {why}")


class TransitionIllegal(QuietaisleError):
    """A change was to go to a state that its state of now does not lead to."""

    def __init__(self, change: str, now: str | None, asked: str, step: str) -> None:
        stands = f"is {now}" if now else "is not in the register"
        super().__init__(
            f"Change {change} {stands} and cannot become {asked} by the step '{step}'."
        )


class EventOutOfOrder(QuietaisleError):
    """An event was dated before the last one of its change."""

    def __init__(self, change: str, at: datetime, last: datetime) -> None:
        super().__init__(
            f"Change {change} has an event of {last:%Y-%m-%d %H:%M}; "
            f"another one cannot be dated {at:%Y-%m-%d %H:%M}, before it."
        )


class UnknownChange(QuietaisleError):
    """A change was named that the register does not hold."""

    def __init__(self, change: str) -> None:
        super().__init__(f"The register holds no change '{change}'.")


class QuarterUnreadable(QuietaisleError):
    """A quarter was asked for that is not written as one."""

    def __init__(self, text: str) -> None:
        super().__init__(f"'{text}' is not a quarter; write it as 2026-Q3.")


class ApproverUnknown(QuietaisleError):
    """Someone approved who is not among the approvers of the rules file."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(
            f"'{name}' is not an approver.{nearest(name, known)} "
            "The rules file names approvers: [approvers] names = [...]."
        )


class BaselineOutOfOrder(QuietaisleError):
    """A baseline was to be approved for a day before one that is approved already."""

    def __init__(self, store: str, on: date, last: date) -> None:
        super().__init__(
            f"Store {store} has a baseline approved on {last}; none can be approved for {on}, "
            "before it. Every version is kept, and what was agreed on a past day does not change."
        )


class NothingToApprove(QuietaisleError):
    """A baseline was to be approved of which no export knows."""

    def __init__(self, store: str, on: date) -> None:
        super().__init__(
            f"No stations export of store {store} speaks of {on} or a day before; "
            "there is nothing to agree to."
        )


class ReasonMissing(QuietaisleError):
    """An approval came without a reason."""

    def __init__(self) -> None:
        super().__init__("An approval needs a reason; say in a few words why this is agreed.")


class NothingToAudit(QuietaisleError):
    """An audit was asked for of days on which nothing is known."""

    def __init__(self, quarter: str, began: date | None, as_of: date) -> None:
        known = f"they speak of {began} to {as_of}" if began else "there are none"
        super().__init__(
            f"No stations export speaks of {quarter} or before: {known}. "
            "Name a quarter within these days, or ingest its exports."
        )


class DaysOutOfOrder(QuietaisleError):
    """Two days were to be compared, the second not after the first."""

    def __init__(self, start: date, end: date) -> None:
        super().__init__(f"{end} is not after {start}; name the earlier day first.")


def nearest(word: str, known: Sequence[str]) -> str:
    """Return ` Did you mean 'x'?` for the closest known word, or an empty text."""
    close = get_close_matches(word, known, n=1, cutoff=0.5)
    return f" Did you mean '{close[0]}'?" if close else ""
