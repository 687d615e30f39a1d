"""Errors a person can act on: one class per cause, each builds its own sentence."""

from collections.abc import Sequence
from datetime import date, datetime, time
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


class PhraseBroken(QuietaisleError):
    """A text with blanks cannot be read."""

    def __init__(self, fault: str) -> None:
        self.fault = fault
        super().__init__(f"A text with blanks cannot be read: {fault}.")


class PhraseUnfilled(QuietaisleError):
    """The values at hand do not fill the blanks of a text."""

    def __init__(self, fault: str) -> None:
        self.fault = fault
        super().__init__(f"The blanks of a text cannot be filled: {fault}.")


class DatabaseBusy(QuietaisleError):
    """Another process holds the database."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path} is in use by another process; wait for it to finish, "
            "or name another database with --database."
        )


class DatabaseUnreadable(QuietaisleError):
    """The database file is damaged, is no database, or is another program's."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(
            f"{path} cannot be opened as a database: {why}; name another with --database."
        )


class DatabaseNewer(QuietaisleError):
    """A newer version of this program made the database's tables."""

    def __init__(self, path: Path, found: int, known: int) -> None:
        super().__init__(
            f"{path} has tables of version {found}, this program knows versions up to {known}; "
            "install the newer program, or name another database with --database."
        )


class FolderMissing(QuietaisleError):
    """A folder does not exist or is a file."""

    def __init__(self, path: Path, holds: str = "the exports") -> None:
        super().__init__(f"{path} is not a folder; name the folder that holds {holds}.")


class NoStores(QuietaisleError):
    """Nothing that was taken in so far lists a store, or there is no database yet."""

    def __init__(self, database: Path) -> None:
        super().__init__(
            f"{database} holds no store: name another with --database, or give `quietaisle run` a "
            "folder with a stations export; `quietaisle template FOLDER` writes an empty one."
        )


class NothingToRead(QuietaisleError):
    """No export in the folder could be read."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path} holds no table that could be read as an export of stores and stations; "
            "`quietaisle template FOLDER` writes empty ones to fill in."
        )


class RulesFileUnreadable(QuietaisleError):
    """The rules file is missing, or is not TOML."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"The rules file {path} cannot be read: {why}")


class RulesKeyUnknown(QuietaisleError):
    """The rules file sets an unknown key."""

    def __init__(self, path: Path, section: str, key: str, known: Sequence[str]) -> None:
        super().__init__(
            f"The rules file {path} sets '{key}' in [{section}], which nothing reads."
            f"{nearest(key, known)}"
        )


class RulesValueWrong(QuietaisleError):
    """The rules file gives a key no value, or one that does not fit."""

    def __init__(self, path: Path, key: str, value: object, expected: str) -> None:
        shown = value if isinstance(value, date | time) else repr(value)
        says = f"does not set {key}" if value is None else f"sets {key} = {shown}"
        super().__init__(f"The rules file {path} {says}; expected {expected}.")


class FreezeFileUnreadable(QuietaisleError):
    """A calendar of freezes is missing or unreadable."""

    def __init__(self, file: str, why: str) -> None:
        super().__init__(
            f"The calendar of freezes {file} cannot be read: {why}. Export it again as an "
            "iCalendar file (.ics), or take it out of the rules file."
        )


class HolidayPartUnknown(QuietaisleError):
    """The rules file names an unknown part of a country."""

    def __init__(self, country: str, part: str, known: Sequence[str]) -> None:
        listed = ", ".join(known) or "none"
        super().__init__(
            f"[holidays] subdivision names '{part}', which is no part of {country}; "
            f"known are: {listed}."
        )


class HeadingFieldUnknown(QuietaisleError):
    """The rules file maps a heading to an unknown field."""

    def __init__(self, kind: str, heading: str, field: str, known: Sequence[str]) -> None:
        super().__init__(
            f"The rules file maps the heading '{heading}' to '{field}' in [headings.{kind}]; "
            f"{kind} have {', '.join(known)}.{nearest(field, known)}"
        )


class UnknownSelection(QuietaisleError):
    """A store or region was selected that no export names."""

    def __init__(self, kind: str, name: str, known: Sequence[str]) -> None:
        super().__init__(f"The database has no {kind} '{name}'.{nearest(name, known)}")


class StationOfSeveral(QuietaisleError):
    """A station was named by a key that stations of several stores have."""

    def __init__(self, station: str, stores: Sequence[str]) -> None:
        named = ", ".join(stores)
        super().__init__(f"Stores {named} each have a station '{station}'; choose with --store.")


class UnknownRule(QuietaisleError):
    """No file defines the rule that was named."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(
            f"There is no rule '{name}'.{nearest(name, known)} `quietaisle rules` lists them all."
        )


class RuleUnusable(QuietaisleError):
    """The file of a rule that was named cannot be read as one."""

    def __init__(self, file: str, line: int, sentence: str) -> None:
        super().__init__(f"{file}, line {line}: {sentence}")


class OutputNotWritable(QuietaisleError):
    """A file could not be written."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(
            f"{path} cannot be written: {why}; close it where it is open, or name another place."
        )


class StorageFailed(QuietaisleError):
    """A disk is full, or a folder of the network has gone, while something is written."""

    def __init__(self, path: Path | str, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(
            f"{path} could not be written to the end: {why}. Nothing half done is kept, what was "
            "finished stands; make room, or bring its disk or network folder back, and run again."
        )

    def __reduce__(self) -> tuple[type["StorageFailed"], tuple[Path | str, str]]:
        """Let it come out of a helper process."""
        return StorageFailed, (self.path, self.why)


class TransitionIllegal(QuietaisleError):
    """A change cannot go from its present state to the one asked for."""

    def __init__(self, change: str, now: str | None, asked: str, step: str) -> None:
        stands = f"is {now}" if now else "is not in the register"
        super().__init__(
            f"Change {change} {stands} and cannot become {asked} by the step '{step}'."
        )


class EventOutOfOrder(QuietaisleError):
    """An event is dated before the last one of its change."""

    def __init__(self, change: str, at: datetime, last: datetime) -> None:
        super().__init__(
            f"Change {change} has an event of {last:%Y-%m-%d %H:%M}; "
            f"another one cannot be dated {at:%Y-%m-%d %H:%M}, before it."
        )


class UnknownChange(QuietaisleError):
    """The register does not hold the change that was named."""

    def __init__(self, change: str) -> None:
        super().__init__(f"The register holds no change '{change}'.")


class QuarterUnreadable(QuietaisleError):
    """A quarter is not written as one."""

    def __init__(self, text: str) -> None:
        super().__init__(f"'{text}' is not a quarter; write it as 2026-Q3.")


class ApproverUnknown(QuietaisleError):
    """The rules file does not name the person as an approver."""

    def __init__(self, name: str, known: Sequence[str]) -> None:
        super().__init__(
            f"'{name}' is not an approver.{nearest(name, known)} "
            "The rules file names approvers: [approvers] names = [...]."
        )


class BaselineOutOfOrder(QuietaisleError):
    """A baseline is dated before one that is already approved."""

    def __init__(self, store: str, on: date, last: date) -> None:
        super().__init__(
            f"Store {store} has a baseline approved on {last}; none can be approved for {on}, "
            "before it. Every version is kept, and what was agreed on a past day does not change."
        )


class NothingToApprove(QuietaisleError):
    """No export tells what a baseline would hold."""

    def __init__(self, store: str, on: date) -> None:
        super().__init__(
            f"No stations export of store {store} speaks of {on} or a day before; "
            "there is nothing to agree to."
        )


class ReasonMissing(QuietaisleError):
    """An approval has no reason."""

    def __init__(self) -> None:
        super().__init__("An approval needs a reason; say in a few words why this is agreed.")


class NothingToAudit(QuietaisleError):
    """Nothing is known about the days of an audit."""

    def __init__(self, quarter: str, began: date | None, as_of: date) -> None:
        known = f"they speak of {began} to {as_of}" if began else "there are none"
        super().__init__(
            f"No stations export speaks of {quarter} or before: {known}. "
            "Name a quarter within these days, or ingest its exports."
        )


class NothingToSample(QuietaisleError):
    """No station is there to draw."""

    def __init__(self) -> None:
        super().__init__(
            "Of no station is a channel agreed, so there is nothing to hold one against: "
            "approve the stores first with 'audit --approve'."
        )


class DaysOutOfOrder(QuietaisleError):
    """The second of two days to compare is not after the first."""

    def __init__(self, start: date, end: date) -> None:
        super().__init__(f"{end} is not after {start}; name the earlier day first.")


class SealUnreadable(QuietaisleError):
    """A seal was typed that is none."""

    def __init__(self, text: str) -> None:
        super().__init__(
            f"'{text[:100]}' is no seal of the register; type it as a page prints it: the number "
            "of entries, a colon and the root, such as 214:3f2a9c51b07e44d8 (16 digits or more)."
        )


class BackupInTheWay(QuietaisleError):
    """A backup would write over something."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path} {why}.")


class BackupBroken(QuietaisleError):
    """A backup cannot be restored: a file of it is not what it should be."""

    def __init__(self, path: Path, why: str) -> None:
        super().__init__(f"{path} {why}. Nothing was restored.")


class PlanNotProven(QuietaisleError):
    """There is no proof of a plan that can be checked without its solver."""

    def __init__(self, store: str) -> None:
        super().__init__(
            f"No proof of the plan of store {store} can be written: it would be too large, or the "
            "plan is not the best possible. Its pages say how much could still be gained at most."
        )


class NothingToProve(QuietaisleError):
    """No entry of the register speaks of what is to be proved."""

    def __init__(self, what: str) -> None:
        super().__init__(f"The register has no entry of {what}; name one that it has.")


def nearest(word: str, known: Sequence[str]) -> str:
    """Return ` Did you mean 'x'?` for the closest known word, or an empty text."""
    close = get_close_matches(word, known, n=1, cutoff=0.5)
    return f" Did you mean '{close[0]}'?" if close else ""
