"""Judge the rows of a workbook that came back: what may be taken, and what is refused. Pure."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TypeVar

from pipeline.changes import entries
from pipeline.changes.entries import EntryProblem
from pipeline.changes.records import Change, Event, Refusal
from pipeline.changes.returned import Cell, Returned, Row
from pipeline.changes.states import State, Step
from pipeline.forms import (
    CHANGE,
    DECISION_WORDS,
    DECISIONS,
    MOVES,
    OUTCOME_WORDS,
    RESULTS,
    Form,
    looks_like_change,
    plain,
)

Value = TypeVar("Value")
RESULT_STATES = {
    "done": State.IMPLEMENTED,
    "done differently": State.IMPLEMENTED,
    "not done": State.APPROVED,
    "backed out": State.BACKED_OUT,
}


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan of the register, and what took its place."""

    plan: str
    store: str
    proposed_on: date
    superseded_by: str | None
    superseded_on: date | None

    @property
    def stale(self) -> str:
        """Why nothing can be decided on a plan that is not in force any more."""
        return (
            f"plan {self.plan} of {self.proposed_on} is not in force any more: plan "
            f"{self.superseded_by} of {self.superseded_on} took its place and its open changes "
            "lapsed; decide in the workbook of that plan"
        )


@dataclass(frozen=True, slots=True)
class Rules:
    """What a decision or result is held against, apart from the register."""

    approvers: tuple[str, ...]
    answer_days_most: int  # after the plan
    today: date | None  # None: not known, so no day is too late but for the above


@dataclass(frozen=True, slots=True)
class Draft:
    """A decision or result that may be taken, and the cell it stands in."""

    workbook: str
    sheet: str
    cell: str
    step: Step
    change: Change
    event: Event


@dataclass(frozen=True, slots=True)
class Reviewed:
    """What one workbook asks for, and what of it was refused."""

    workbook: str
    store: str | None
    drafts: tuple[Draft, ...]
    refusals: tuple[Refusal, ...]


class Review:
    """Judges one workbook against the plan it was written for."""

    def __init__(
        self, returned: Returned, plan: Plan, changes: Mapping[str, Change], rules: Rules
    ) -> None:
        self.returned = returned
        self.plan = plan
        self.changes = changes
        self.rules = rules
        self.refusals = [*returned.refusals]
        self.edited = set(self._edited_moves())

    def result(self) -> Reviewed:
        """Return what may be taken and what is refused."""
        decisions = self._rows(DECISIONS, self.returned.decisions, self._decision)
        results = self._rows(RESULTS, self.returned.results, self._result)
        drafts = [*self._alike(decisions), *results]
        return Reviewed(
            self.returned.workbook, self.plan.store, tuple(drafts), tuple(self.refusals)
        )

    def _refuse(self, sheet: str | None, cell: str | None, sentence: str) -> None:
        self.refusals.append(
            Refusal(self.returned.workbook, self.plan.store, sheet, cell, sentence)
        )

    def _rows(
        self, form: Form, rows: Sequence[Row], read: Callable[[Row, Change], Event | None]
    ) -> list[Draft]:
        drafts: list[Draft] = []
        for row in rows:
            asked = [key for key in form.entries if key != "note" and row.cells[key].text]
            change = self._change(form, row, asked=bool(asked))
            if change is None or not self._as_written(form, row, change) or not asked:
                continue
            event = read(row, change)
            if event is not None:
                step = Step.DECIDE if form is DECISIONS else Step.RESULT
                cell = row.cells[form.entries[0]].at
                drafts.append(Draft(self.returned.workbook, form.sheet, cell, step, change, event))
        return drafts

    def _change(self, form: Form, row: Row, *, asked: bool) -> Change | None:
        change = self.changes.get(row.change)
        if change is not None and change.plan == self.plan.plan:
            return change
        if asked or looks_like_change(row.change):  # else a note below the list
            why = f"plan {self.plan.plan} has no change '{row.change[:80]}'"
            if not row.change:
                why = "the row does not say which change it is about"
            self._refuse(form.sheet, row.cells[CHANGE].at, why)
        return None

    def _as_written(self, form: Form, row: Row, change: Change) -> bool:
        """Hold the locked cells against the register, and against their second copy."""
        written = {
            **self.returned.written.get((form.sheet, change.change), {}),
            **_facts(change),
        }
        sound = True
        for key in form.locked:
            cell = row.cells[key]
            if key in written and cell.text != written[key]:
                was = f"'{written[key][:80]}'" if written[key] else "empty"
                self._refuse(
                    form.sheet,
                    cell.at,
                    f"a locked cell was edited: it says '{cell.text[:80]}' and was {was}",
                )
                sound = False
        return sound and (form is not DECISIONS or change.station not in self.edited)

    def _edited_moves(self) -> Iterator[str]:
        """Yield the stations of moves that were edited, and say where."""
        rows = [(cells, Counter(c.text for c in cells if c.text)) for cells in self.returned.moves]
        for (sheet, _), texts in self.returned.written.items():
            asked = Counter(text for text in texts.values() if text)
            if sheet != MOVES or not rows or any(not asked - found for _, found in rows):
                continue
            cells, found = min(rows, key=lambda row: (asked - row[1]).total())
            wrong = [cell for cell in cells if cell.text in found - asked]
            gone = next(iter(asked - found))
            self._refuse(
                MOVES,
                wrong[0].at if wrong else cells[0].at if cells else None,
                f"a locked cell was edited: the row of {texts.get('station', 'a station')} "
                f"does not say '{gone[:80]}' any more",
            )
            yield texts.get("station", "")

    def _decision(self, row: Row, change: Change) -> Event | None:
        cells, proposer = row.cells, change.proposed_by
        word = self._read(DECISIONS, cells["decision"], lambda c: entries.chosen(c, DECISION_WORDS))
        by = self._read(
            DECISIONS, cells["by"], lambda c: entries.approver(c, self.rules.approvers, proposer)
        )
        at = self._read(DECISIONS, cells["date"], lambda c: self._dated(entries.day(c)))
        note = self._read(DECISIONS, cells["note"], entries.note)
        if word is None or by is None or at is None or note is None:
            return None
        return Event(change.change, State(word), at, by, note)

    def _result(self, row: Row, change: Change) -> Event | None:
        cells = row.cells
        word = self._read(RESULTS, cells["outcome"], lambda c: entries.chosen(c, OUTCOME_WORDS))
        by = self._read(RESULTS, cells["by"], entries.name)
        at = self._read(RESULTS, cells["done_at"], lambda c: self._dated(entries.moment(c)))
        note = self._read(RESULTS, cells["note"], entries.note)
        if word is None or by is None or at is None or note is None:
            return None
        if word == "done differently" and not note:
            self._refuse(RESULTS.sheet, cells["note"].at, "say in the note what was done instead")
            return None
        return Event(change.change, RESULT_STATES[word], at, by, note, word)

    def _read(self, form: Form, cell: Cell, read: Callable[[Cell], Value]) -> Value | None:
        try:
            return read(cell)
        except EntryProblem as problem:
            self._refuse(form.sheet, cell.at, str(problem))
            return None

    def _dated(self, at: datetime) -> datetime:
        first = self.plan.proposed_on
        last = first + timedelta(days=self.rules.answer_days_most)
        if at.date() < first:
            raise EntryProblem(f"{at:%Y-%m-%d} is before the plan, which is of {first}")
        if self.rules.today is not None and at.date() > self.rules.today:
            raise EntryProblem(f"{at:%Y-%m-%d} is yet to come; today is {self.rules.today}")
        if at.date() > last:
            raise EntryProblem(
                f"{at:%Y-%m-%d} is more than {self.rules.answer_days_most} days after the plan, "
                f"which is of {first}"
            )
        return at

    def _alike(self, drafts: Sequence[Draft]) -> Iterator[Draft]:
        """Yield the decisions but those on part of a station's way over a parking channel."""
        asked: dict[str, set[tuple[str, State]]] = {}
        for draft in drafts:
            asked.setdefault(draft.change.station, set()).add(
                (draft.change.change, draft.event.state)
            )
        own = [change for change in self.changes.values() if change.plan == self.plan.plan]
        for draft in drafts:
            steps = {c.change for c in own if c.station == draft.change.station}
            said = asked[draft.change.station]
            if {name for name, _ in said} == steps and len({state for _, state in said}) == 1:
                yield draft
            elif len(steps) == 1:
                yield draft  # said twice, and differently: judged with the other workbooks
            else:
                self._refuse(
                    draft.sheet,
                    draft.cell,
                    f"{draft.change.station} goes over a parking channel: decide its "
                    f"{len(steps)} steps alike",
                )


def _facts(change: Change) -> dict[str, str]:
    """Return what the register knows of a change, as its locked cells say it."""
    return {
        CHANGE: change.change,
        "order": plain(change.position),
        "station": plain(change.station),
        "from": plain(change.from_channel),
        "to": plain(change.to_channel),
        "clear_before": plain(change.clear_air_before),
        "clear_after": plain(change.clear_air_after),
    }
