"""Take what an auditor found at the stations of a sample, from the sheet that came back."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from pipeline.changes.decisions import Taken
from pipeline.changes.returned import (
    Cell,
    Cells,
    EntryProblem,
    Returned,
    read_channel,
    read_choice,
    read_day,
    read_name,
    read_note,
    read_workbook,
    written_at,
)
from pipeline.database import Database
from pipeline.forms import CHANGE, NO, SAMPLE, YES, plain
from pipeline.originals import Original
from pipeline.records import WorkbookRefusal
from pipeline.tables.audit import AuditSample, SampledStation, SampleResult

Value = TypeVar("Value")
_CHANNELS = range(11, 27)
_PAN_DIGITS = 4


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
    known = set(map(_said, database.added(SampleResult)))
    taken: list[Taken] = []
    added: list[SampleResult] = []
    originals: list[Original] = []
    for path in workbooks:
        sheet = _Sheet(read_workbook(path, [SAMPLE]), drawn, rows, today)
        found = list(sheet.results())
        refusals = (*sheet.returned.refusals, *sheet.refusals)
        found = [] if refusals and all_or_nothing else found
        new = [one for one in found if _said(one) not in known]
        known.update(map(_said, new))
        added += new
        originals += [sheet.returned.original] if new else []
        label = sheet.returned.workbook
        taken.append(Taken(label, None, 0, len(new), len(found) - len(new), refusals))
    return tuple(taken), tuple(added), tuple(originals)


def _key(one: SampledStation) -> str:
    """Return the name of a row, as the sheet has it."""
    return f"{one.sample}-{one.number:02}"


def _said(one: SampleResult) -> SampleResult:
    """Return what makes a result new: the file and the cell do not."""
    return replace(one, workbook_sha256="", cell="")


class _Sheet:
    """The rows of one sheet, held against the sample that was drawn."""

    def __init__(
        self,
        returned: Returned,
        drawn: Mapping[str, AuditSample],
        rows: Mapping[str, SampledStation],
        today: date | None,
    ) -> None:
        self.returned, self.drawn, self.rows, self.today = returned, drawn, rows, today
        self.refusals: list[WorkbookRefusal] = []

    def results(self) -> Iterator[SampleResult]:
        """Yield what may be taken; a row with nothing filled in was not looked at."""
        for row in self.returned.decisions:
            if not any(row[key].text for key in SAMPLE.entries):
                continue
            station = self.rows.get(row[CHANGE].text)
            if station is None:
                self._refuse(row[CHANGE].at, "no sample was drawn that has a row of this name")
            elif self._as_written(row, station) and (found := self._result(row, station)):
                yield found

    def _refuse(self, cell: str, why: str) -> None:
        tab = self.returned.tab(SAMPLE.sheet)
        self.refusals.append(WorkbookRefusal(self.returned.workbook, None, tab, cell, why))

    def _as_written(self, row: Cells, station: SampledStation) -> bool:
        """Hold the locked cells against the register."""
        edited = False
        for key in SAMPLE.locked:
            written = _key(station) if key == CHANGE else plain(getattr(station, key))
            if row[key].text != written:
                edited = True
                now = row[key].text[:80]
                self._refuse(
                    row[key].at, f"a locked cell was edited: it says '{now}' and was '{written}'"
                )
        return not edited

    def _result(self, row: Cells, station: SampledStation) -> SampleResult | None:
        agreed = self._read(row["as_agreed"], lambda cell: read_choice(cell, (YES, NO)))
        channel = self._read(row["found_channel"], _channel)
        pan_id = self._read(row["found_pan_id"], _pan_id)
        by = self._read(row["by"], read_name)
        on = self._read(row["date"], lambda cell: self._day(cell, station))
        note = self._read(row["note"], read_note)
        if agreed is None or channel is None or pan_id is None:
            return None
        if by is None or on is None or note is None:
            return None
        differs = channel not in {0, station.channel} or pan_id not in {"", station.pan_id}
        if why := _contradiction(agreed == YES, differs, known=bool(channel), said=bool(note)):
            self._refuse(row["as_agreed"].at, why)
            return None
        place = written_at(self.returned, SAMPLE, row, row["as_agreed"].at)
        return SampleResult(
            station.sample, station.number, station.store, station.station, channel or None,
            pan_id or None, agreed == YES, by, on, note, place["workbook_sha256"], place["cell"],
        )  # fmt: skip

    def _read(self, cell: Cell, read: Callable[[Cell], Value]) -> Value | None:
        try:
            return read(cell)
        except EntryProblem as problem:
            self._refuse(cell.at, str(problem))
            return None

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
