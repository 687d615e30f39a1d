"""Take what approvers answered on an audit's workbook to what nobody ordered."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from pipeline.changes.decisions import Taken
from pipeline.changes.returned import (
    Cells,
    EntryProblem,
    Returned,
    files_of,
    read_approver,
    read_choice,
    read_day,
    read_note,
    read_workbook,
    written_at,
)
from pipeline.database import Database
from pipeline.forms import ANSWER_WORDS, ANSWERS, APPROVE, CHANGE, Form, tabs_of
from pipeline.frames import grouped
from pipeline.originals import Original
from pipeline.records import WorkbookRefusal
from pipeline.settings import Settings
from pipeline.tables.audit import DepartureAnswer


@dataclass(frozen=True, slots=True)
class Asked:
    """A departure that somebody must answer, by the audit that told it last.

    `last_seen` is of the latest departure of its cause, `agreed_on` the day anything was approved
    last for its store.
    """

    cause: str
    store: str
    subject: str
    field: str
    agreed: str | None
    found: str | None
    last_seen: date
    agreed_on: date
    settled: bool  # asked no more


def among(workbooks: Sequence[Path], form: Form) -> list[Path]:
    """Return those workbooks, or in the folders named, that have a form's sheet."""
    named = [f'name="{tab}"'.encode() for tab in sorted(tabs_of(form.sheet))]
    return [path for path in files_of(workbooks) if _has(path, named)]


def _has(path: Path, named: Sequence[bytes]) -> bool:
    try:
        with ZipFile(path) as parts:
            sheets = parts.read("xl/workbook.xml")
            return any(name in sheets for name in named)
    except (OSError, BadZipFile, KeyError):
        return False  # what is wrong with it is said where changes are read


def answers(
    database: Database,
    settings: Settings,
    audits: Sequence[Path],
    *,
    all_or_nothing: bool = False,
    today: date | None = None,
) -> tuple[tuple[Taken, ...], tuple[DepartureAnswer, ...], tuple[Original, ...]]:
    """Return what became of each audit that came back, the answers, a departure each, and files.

    What is wrong is refused with its place. An answer that is on file already is none.

    Args:
        database: holds the audit and the answers of before.
        settings: name the approvers.
        audits: workbooks, from `among`.
        all_or_nothing: take nothing from a workbook of which something is refused.
        today: the last day an answer can be of; None: any.
    """
    filed = database.every(DepartureAnswer)
    known = set(map(_said, filed))
    now = grouped(database.records(Asked, "changes", "asked"), "cause")
    asked = {**_on_file(filed), **now}
    taken: list[Taken] = []
    added: list[DepartureAnswer] = []
    originals: list[Original] = []
    for path in audits:
        review = _Answers(read_workbook(path, [ANSWERS]), asked, settings.approvers, today)
        given = list(review.given(known))
        refusals = [*review.returned.refusals, *review.refusals]
        if refusals and all_or_nothing:
            given = []
        fresh = [[one for one in answer if _said(one) not in known] for answer in given]
        new = [one for answer in fresh for one in answer]
        known.update(map(_said, new))
        added += new
        originals += [review.returned.original] if new else []
        count = sum(map(bool, fresh))
        label = review.returned.workbook
        taken.append(Taken(label, None, count, 0, len(given) - count, tuple(refusals)))
    return tuple(taken), tuple(added), tuple(originals)


def _on_file(known: Collection[DepartureAnswer]) -> dict[str, list[Asked]]:
    """Return what was answered before, as what may be answered alike once more."""
    found: dict[str, list[Asked]] = {}
    for one in sorted(known, key=lambda one: (one.store, one.subject, one.field)):
        asked = Asked(
            one.cause, one.store, one.subject, one.field, one.agreed, one.found, date.min, date.min,
            settled=True,
        )  # fmt: skip
        if asked not in found.setdefault(one.cause, []):
            found[one.cause].append(asked)
    return found


def _said(one: DepartureAnswer) -> DepartureAnswer:
    """Return what makes an answer new: the file it came in, its place and remark do not."""
    return replace(
        one, note="", workbook="", workbook_sha256=None, cell=None, by_written=None,
        at_written=None,
    )  # fmt: skip


class _Answers:
    """The rows of one audit, held against what the audit asks now."""

    def __init__(
        self,
        returned: Returned,
        asked: Mapping[str, Sequence[Asked]],
        approvers: Sequence[str],
        today: date | None,
    ) -> None:
        self.returned, self.asked = returned, asked
        self.approvers, self.today = approvers, today
        self.refusals: list[WorkbookRefusal] = []

    def given(self, known: Collection[DepartureAnswer]) -> Iterator[list[DepartureAnswer]]:
        """Yield the answers of each row that may be taken, one a departure of its cause."""
        for row in self.returned.decisions:
            if not any(row[key].text for key in ANSWERS.entries if key != "note"):
                continue
            rows = self.asked.get(row[CHANGE].text, ())
            answers = self._answers(row, rows) if rows and self._as_written(row) else []
            settled = all(one.settled for one in rows)
            if settled and (not rows or any(_said(one) not in known for one in answers)):
                why = "the audit asks nothing of that name any more; fill in the latest audit"
                self._refuse(row[CHANGE].at, why)
            elif answers:
                yield answers

    def _refuse(self, cell: str, why: str) -> None:
        refusal = WorkbookRefusal(
            self.returned.workbook, None, self.returned.tab(ANSWERS.sheet), cell, why
        )
        self.refusals.append(refusal)

    def _as_written(self, row: Cells) -> bool:
        written = self.returned.written.get((ANSWERS.sheet, row[CHANGE].text), {})
        edited = [key for key in ANSWERS.locked if row[key].text != written.get(key, "")]
        for key in edited:
            was = f"'{written[key][:80]}'" if written.get(key) else "empty"
            now = row[key].text[:80]
            self._refuse(row[key].at, f"a locked cell was edited: it says '{now}' and was {was}")
        return not edited

    def _answers(self, row: Cells, rows: Sequence[Asked]) -> list[DepartureAnswer]:
        found: dict[str, str | date] = {}
        for key in ANSWERS.entries:
            try:
                found[key] = self._entry(key, row, rows)
            except EntryProblem as problem:
                self._refuse(row[key].at, str(problem))
        if len(found) < len(ANSWERS.entries):
            return []
        answer, by, note = (str(found[key]) for key in ("answer", "by", "note"))
        on = found["date"]
        assert isinstance(on, date)  # noqa: S101 - for the type checker
        return [
            DepartureAnswer(
                one.cause, one.store, one.subject, one.field, one.agreed, one.found, answer, by,
                on, note, self.returned.file,
                **written_at(self.returned, ANSWERS, row, row["answer"].at),
            )
            for one in rows
        ]  # fmt: skip

    def _entry(self, key: str, row: Cells, rows: Sequence[Asked]) -> str | date:
        cell = row[key]
        if key == "answer":
            answer = read_choice(cell, ANSWER_WORDS)
            if answer == APPROVE and any(one.field == "station" for one in rows):
                raise EntryProblem(
                    "a station new, gone or renamed is agreed to with all it is: approve the store "
                    "with 'audit --approve'"
                )
            return answer
        if key == "by":
            return read_approver(cell, self.approvers, "")
        return read_note(cell) if key == "note" else self._dated(row, rows)

    def _dated(self, row: Cells, rows: Sequence[Asked]) -> date:
        day = read_day(row["date"]).date()
        seen = max(one.last_seen for one in rows)
        if day < seen:
            raise EntryProblem(f"{day} is before {seen}, when it was first seen at all of them")
        if self.today is not None and day > self.today:
            raise EntryProblem(f"{day} is after {self.today}, the day of the command")
        late = next((one for one in rows if one.agreed_on > day), None)
        if late is not None:
            raise EntryProblem(
                f"something was agreed for store {late.store} on {late.agreed_on}, after {day}; "
                "give a day from then on"
            )
        return day
