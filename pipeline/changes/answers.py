"""Take what came back on an audit's sheets: approvers' answers, and what a sample showed."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from zipfile import BadZipFile, ZipFile

from pipeline.changes.decisions import Taken
from pipeline.changes.returned import (
    Cell,
    Cells,
    EntryProblem,
    Returned,
    files_of,
    read_approver,
    read_channel,
    read_choice,
    read_day,
    read_name,
    read_note,
    read_workbook,
    written_at,
)
from pipeline.changes.review import RowJudge
from pipeline.database import Database
from pipeline.forms import (
    ANSWER_WORDS,
    ANSWERS,
    APPROVE,
    CHANGE,
    NO,
    SAMPLE,
    YES,
    Form,
    plain,
    tabs_of,
)
from pipeline.originals import Original
from pipeline.records import grouped
from pipeline.settings import Settings
from pipeline.tables.audit import AuditSample, DepartureAnswer, SampledStation, SampleResult

_CHANNELS = range(11, 27)
_PAN_DIGITS = 4


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


class _Answers(RowJudge):
    """The rows of one audit, held against what the audit asks now."""

    def __init__(
        self,
        returned: Returned,
        asked: Mapping[str, Sequence[Asked]],
        approvers: Sequence[str],
        today: date | None,
    ) -> None:
        super().__init__(returned, None)
        self.asked, self.approvers, self.today = asked, approvers, today

    def given(self, known: Collection[DepartureAnswer]) -> Iterator[list[DepartureAnswer]]:
        """Yield the answers of each row that may be taken, one a departure of its cause."""
        for row in self.returned.decisions:
            if not any(row[key].text for key in ANSWERS.entries if key != "note"):
                continue
            rows = self.asked.get(row[CHANGE].text, ())
            written = self.returned.written.get((ANSWERS.sheet, row[CHANGE].text), {})
            sound = rows and self._unedited(ANSWERS, row, written)
            answers = self._answers(row, rows) if sound else []
            settled = all(one.settled for one in rows)
            if settled and (not rows or any(_said(one) not in known for one in answers)):
                why = "the audit asks nothing of that name any more; fill in the latest audit"
                self._refuse(ANSWERS.sheet, row[CHANGE].at, why)
            elif answers:
                yield answers

    def _answers(self, row: Cells, rows: Sequence[Asked]) -> list[DepartureAnswer]:
        answer = self._read(ANSWERS, row["answer"], lambda cell: _chosen(cell, rows))
        by = self._read(ANSWERS, row["by"], lambda cell: read_approver(cell, self.approvers, ""))
        on = self._read(ANSWERS, row["date"], lambda cell: self._dated(cell, rows))
        note = self._read(ANSWERS, row["note"], read_note)
        if answer is None or by is None or on is None or note is None:
            return []
        return [
            DepartureAnswer(
                one.cause, one.store, one.subject, one.field, one.agreed, one.found, answer, by,
                on, note, self.returned.file,
                **written_at(self.returned, ANSWERS, row, row["answer"].at),
            )
            for one in rows
        ]  # fmt: skip

    def _dated(self, cell: Cell, rows: Sequence[Asked]) -> date:
        day = read_day(cell).date()
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


def _chosen(cell: Cell, rows: Sequence[Asked]) -> str:
    answer = read_choice(cell, ANSWER_WORDS)
    if answer == APPROVE and any(one.field == "station" for one in rows):
        raise EntryProblem(
            "a station new, gone or renamed is agreed to with all it is: approve the store "
            "with 'audit --approve'"
        )
    return answer


def sample_results(
    database: Database,
    workbooks: Sequence[Path],
    *,
    all_or_nothing: bool = False,
    today: date | None = None,
) -> tuple[tuple[Taken, ...], tuple[SampleResult, ...], tuple[Original, ...]]:
    """Return what became of each sample that came back, the results to keep, and the workbooks.

    What is wrong is refused with its place. What is on file already is no result.

    Args:
        database: holds the samples drawn and the results of before.
        workbooks: with the sheet Sample.
        all_or_nothing: take nothing from a workbook of which something is refused.
        today: the last day a result can be of; None: any.
    """
    drawn = {sample.sample: sample for sample in database.every(AuditSample)}
    rows = {_key(one): one for one in database.every(SampledStation)}
    known = set(map(_said_of, database.added(SampleResult)))
    taken: list[Taken] = []
    added: list[SampleResult] = []
    originals: list[Original] = []
    for path in workbooks:
        sheet = _Sheet(read_workbook(path, [SAMPLE]), drawn, rows, today)
        found = list(sheet.results())
        refusals = (*sheet.returned.refusals, *sheet.refusals)
        found = [] if refusals and all_or_nothing else found
        new = [one for one in found if _said_of(one) not in known]
        known.update(map(_said_of, new))
        added += new
        originals += [sheet.returned.original] if new else []
        label = sheet.returned.workbook
        taken.append(Taken(label, None, 0, len(new), len(found) - len(new), refusals))
    return tuple(taken), tuple(added), tuple(originals)


def _key(one: SampledStation) -> str:
    """Return the name of a row, as the sheet has it."""
    return f"{one.sample}-{one.number:02}"


def _said_of(one: SampleResult) -> SampleResult:
    """Return what makes a result new: the file and the cell do not."""
    return replace(one, workbook_sha256="", cell="")


class _Sheet(RowJudge):
    """The rows of one sheet, held against the sample that was drawn."""

    def __init__(
        self,
        returned: Returned,
        drawn: Mapping[str, AuditSample],
        rows: Mapping[str, SampledStation],
        today: date | None,
    ) -> None:
        super().__init__(returned, None)
        self.drawn, self.rows, self.today = drawn, rows, today

    def results(self) -> Iterator[SampleResult]:
        """Yield what may be taken; a row with nothing filled in was not looked at."""
        for row in self.returned.decisions:
            if not any(row[key].text for key in SAMPLE.entries):
                continue
            station = self.rows.get(row[CHANGE].text)
            if station is None:
                why = "no sample was drawn that has a row of this name"
                self._refuse(SAMPLE.sheet, row[CHANGE].at, why)
                continue
            of = {key: plain(getattr(station, key)) for key in SAMPLE.locked if key != CHANGE}
            sound = self._unedited(SAMPLE, row, {CHANGE: _key(station), **of})  # by the register
            if sound and (found := self._result(row, station)):
                yield found

    def _result(self, row: Cells, station: SampledStation) -> SampleResult | None:
        agreed = self._read(SAMPLE, row["as_agreed"], lambda cell: read_choice(cell, (YES, NO)))
        channel = self._read(SAMPLE, row["found_channel"], _channel)
        pan_id = self._read(SAMPLE, row["found_pan_id"], _pan_id)
        by = self._read(SAMPLE, row["by"], read_name)
        on = self._read(SAMPLE, row["date"], lambda cell: self._day(cell, station))
        note = self._read(SAMPLE, row["note"], read_note)
        if agreed is None or channel is None or pan_id is None:
            return None
        if by is None or on is None or note is None:
            return None
        differs = channel not in {0, station.channel} or pan_id not in {"", station.pan_id}
        if why := _contradiction(agreed == YES, differs, known=bool(channel), said=bool(note)):
            self._refuse(SAMPLE.sheet, row["as_agreed"].at, why)
            return None
        place = written_at(self.returned, SAMPLE, row, row["as_agreed"].at)
        return SampleResult(
            station.sample, station.number, station.store, station.station, channel or None,
            pan_id or None, agreed == YES, by, on, note, place["workbook_sha256"], place["cell"],
        )  # fmt: skip

    def _day(self, cell: Cell, station: SampledStation) -> date:
        day, first = read_day(cell).date(), self.drawn[station.sample].drawn_on
        if day < first:
            raise EntryProblem(f"{day} is before {first}, when the sample was drawn")
        if self.today is not None and day > self.today:
            raise EntryProblem(f"{day} is after {self.today}, the day of the command")
        return day


def _channel(cell: Cell) -> int:
    """Return the channel found; 0 where none was written."""
    channel = read_channel(cell) if cell.text else 0
    if channel and channel not in _CHANNELS:
        raise EntryProblem(f"channel {channel} is none of 11 to 26")
    return channel


def _pan_id(cell: Cell) -> str:
    """Return the PAN ID found, as the baseline writes it; empty where none was written."""
    text = cell.text.lower().removeprefix("0x")
    if text and (len(text) > _PAN_DIGITS or set(text) - set("0123456789abcdef")):
        raise EntryProblem(f"'{cell.quoted}' is not a PAN ID; write it as 0x2F11")
    return f"0x{int(text, 16):04X}" if text else ""


def _contradiction(agreed: bool, differs: bool, *, known: bool, said: bool) -> str | None:
    """Return what is wrong with an answer yes or no beside what was found; None: nothing."""
    if agreed and differs:
        return "what was found is not what is agreed"
    if agreed and not known:
        return "write the channel that was found"
    if not agreed and not differs and not said:
        return "nothing found differs from what is agreed: say in the remark what does"
    return None
