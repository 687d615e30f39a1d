"""Judge the rows of a workbook that came back: what may be taken, and what is refused. Pure."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TypeVar

from pipeline.changes.orders import Room, read_order, read_until
from pipeline.changes.returned import (
    Cell,
    Cells,
    EntryProblem,
    Returned,
    read_approver,
    read_choice,
    read_day,
    read_moment,
    read_name,
    read_note,
    written_at,
)
from pipeline.changes.states import ChangeState, Trigger, new_event, placed
from pipeline.forms import (
    ACCEPTED,
    ANOTHER,
    APPROVED,
    CHANGE,
    CHECKS,
    COMMISSION,
    DECISION_WORDS,
    DECISIONS,
    MOVES,
    NO,
    OUTCOME_WORDS,
    RESULTS,
    YES_NO,
    Form,
    looks_like_change,
    pan_text,
    plain,
)
from pipeline.records import WorkbookRefusal
from pipeline.tables.changes import Change, ChangeEvent
from pipeline.tables.taken import InventoryAnswer

Value = TypeVar("Value")
_TRIGGERS = {
    DECISIONS.sheet: Trigger.DECIDE,
    RESULTS.sheet: Trigger.RESULT,
    COMMISSION.sheet: Trigger.TAKE_OVER,
}
RESULT_STATES = {
    "done": ChangeState.IMPLEMENTED,
    "done differently": ChangeState.IMPLEMENTED,
    "not done": ChangeState.APPROVED,
    "backed out": ChangeState.BACKED_OUT,
}


@dataclass(frozen=True, slots=True)
class PlanOnFile:
    """A plan of the register, and the one that superseded it."""

    plan: str
    store: str
    proposed_on: date
    choices: str  # the channels the rules permitted, '11 15 20'
    superseded_by: str | None
    superseded_on: date | None

    @property
    def stale(self) -> str:
        """Why nothing can be decided on a plan that is no longer in force."""
        return (
            f"plan {self.plan} of {self.proposed_on} is no longer in force: plan "
            f"{self.superseded_by} of {self.superseded_on} superseded it and its open changes "
            "lapsed; use the workbook of that plan"
        )


@dataclass(frozen=True, slots=True)
class Rules:
    """What a decision or result is held against, apart from the register."""

    approvers: tuple[str, ...]
    answer_days_most: int  # after the plan
    today: date | None  # None: not known, so only the limit above makes a day too late
    deaf: Mapping[str, Mapping[int, int]]  # labels by store and channel they do not listen on


@dataclass(frozen=True, slots=True)
class Draft:
    """A decision or result that may be taken, and the cell it stands in."""

    workbook: str
    sheet: str
    cell: str
    trigger: Trigger
    change: Change
    event: ChangeEvent

    def refused(self, sentence: str) -> WorkbookRefusal:
        """Return the refusal of this draft."""
        return WorkbookRefusal(self.workbook, self.change.store, self.sheet, self.cell, sentence)


@dataclass(slots=True)
class Tally:
    """What one workbook asks for, and what becomes of it as it is judged."""

    workbook: str
    store: str | None
    drafts: list[Draft]
    refusals: list[WorkbookRefusal]
    taken: list[Draft] = field(default_factory=list)
    repeated: int = 0
    priced: list[str] = field(default_factory=list)
    answers: list[InventoryAnswer] = field(default_factory=list)  # to what is not listed
    known: int = 0  # of these, what the register had already


class RowJudge:
    """Judges rows of a workbook that came back, and keeps what is refused, each with its place."""

    def __init__(self, returned: Returned, store: str | None) -> None:
        self.returned, self.store = returned, store
        self.refusals: list[WorkbookRefusal] = []

    def _refuse(self, sheet: str, cell: str | None, why: str) -> None:
        tab = self.returned.tab(sheet)
        self.refusals.append(WorkbookRefusal(self.returned.workbook, self.store, tab, cell, why))

    def _read(self, form: Form, cell: Cell, read: Callable[[Cell], Value]) -> Value | None:
        try:
            return read(cell)
        except EntryProblem as problem:
            self._refuse(form.sheet, cell.at, str(problem))
            return None

    def _unedited(self, form: Form, row: Cells, written: Mapping[str, str]) -> bool:
        """Whether the locked cells of a row say what was written; those that do not are refused."""
        edited = [key for key in form.locked if row[key].text != written.get(key, "")]
        for key in edited:
            was = f"'{written[key][:80]}'" if written.get(key) else "empty"
            why = f"a locked cell was edited: it says '{row[key].text[:80]}' and was {was}"
            self._refuse(form.sheet, row[key].at, why)
        return not edited


class Review(RowJudge):
    """Judges one workbook against the plan it was written for."""

    def __init__(
        self,
        returned: Returned,
        plan: PlanOnFile,
        changes: Mapping[str, Change],
        rules: Rules,
        ordered: Mapping[str, int],
    ) -> None:
        super().__init__(returned, plan.store)
        self.ordered = ordered
        self.plan = plan
        self.changes = {c.change: c for c in changes.values() if c.plan == plan.plan}
        self.rules = rules
        self.refusals += returned.refusals
        self.edited = set(self._edited_moves())

    def result(self) -> Tally:
        """Return what may be taken and what is refused."""
        decisions = self._drafts(DECISIONS, self.returned.decisions, self._decision)
        results = self._drafts(RESULTS, self.returned.results, self._result)
        accepted = self._drafts(COMMISSION, self.returned.commissioned, self._accepted)
        drafts = [*decisions, *results, *accepted]
        return Tally(self.returned.workbook, self.plan.store, drafts, self.refusals)

    def _drafts(
        self, form: Form, rows: Sequence[Cells], read: Callable[[Cells, Change], ChangeEvent | None]
    ) -> list[Draft]:
        drafts: list[Draft] = []
        tab = self.returned.tab(form.sheet)
        trigger = _TRIGGERS[form.sheet]
        for row in rows:
            asked = any(row[key].text for key in form.entries if key != "note")
            change = self._change(form, row, asked=asked)
            if change is None or not self._as_written(form, row, change) or not asked:
                continue
            event = read(row, change)
            if event is not None:
                cell = row[form.entries[0]].at
                event = placed(event, written_at(self.returned, form, row, cell))
                drafts.append(Draft(self.returned.workbook, tab, cell, trigger, change, event))
        return drafts

    def _change(self, form: Form, row: Cells, *, asked: bool) -> Change | None:
        named = row[CHANGE].text
        if named in self.changes:
            return self.changes[named]
        if asked or looks_like_change(named):  # else a note below the list
            why = f"plan {self.plan.plan} has no change '{named[:80]}'"
            if not named:
                why = "the row does not name a change"
            self._refuse(form.sheet, row[CHANGE].at, why)
        return None

    def _as_written(self, form: Form, row: Cells, change: Change) -> bool:
        """Hold the locked cells against the register, and against their second copy."""
        copied = self.returned.written.get((form.sheet, change.change), {})
        written = {**copied, **_facts(change)}
        if form is not DECISIONS and row["to"].text == plain(self.ordered.get(change.change)):
            written["to"] = row["to"].text  # written after another channel was ordered
        edited = [
            (row[key], written[key])
            for key in form.locked
            if key in written and row[key].text != written[key]
        ]
        for cell, text in edited:
            was = f"'{text[:80]}'" if text else "empty"
            why = f"a locked cell was edited: it now says '{cell.text[:80]}' and was {was}"
            self._refuse(form.sheet, cell.at, why)
        return not edited and (form is not DECISIONS or change.station not in self.edited)

    def _edited_moves(self) -> Iterator[str]:
        """Yield the stations of moves that were edited, and say where."""
        rows = [(cells, Counter(c.text for c in cells if c.text)) for cells in self.returned.moves]
        for (sheet, _), texts in self.returned.written.items():
            asked = Counter(text for text in texts.values() if text)
            if sheet != MOVES or not rows or any(not asked - found for _, found in rows):
                continue
            cells, found = min(rows, key=lambda row: (asked - row[1]).total())
            wrong = [cell for cell in cells if cell.text in found - asked] or cells
            gone = next(iter(asked - found))
            self._refuse(
                MOVES,
                wrong[0].at if wrong else None,
                f"a locked cell was edited: the row of {texts.get('station', 'a station')} "
                f"no longer says '{gone[:80]}'",
            )
            yield texts.get("station", "")

    def _decision(self, row: Cells, change: Change) -> ChangeEvent | None:
        names, proposer = self.rules.approvers, change.proposed_by
        word = self._read(DECISIONS, row["decision"], lambda c: read_choice(c, DECISION_WORDS))
        by = self._read(DECISIONS, row["by"], lambda c: read_approver(c, names, proposer))
        at = self._read(DECISIONS, row["date"], lambda c: self._dated(read_day(c)))
        note = self._read(DECISIONS, row["note"], read_note)
        if word is None or by is None or at is None or note is None:
            return None
        channel = self._read(DECISIONS, row["other"], lambda c: self._ordered(c, word, change))
        until = self._read(DECISIONS, row["until"], lambda c: read_until(c, word, at.date()))
        if channel is None or until is None:
            return None
        return new_event(
            change.change,
            ChangeState(APPROVED if word == ANOTHER else word),
            at,
            by,
            note,
            channel=channel or None,
            until=None if until == date.min else until,
            workbook=self.returned.file,
        )

    def _ordered(self, cell: Cell, word: str, change: Change) -> int:
        steps = [one for one in self.changes.values() if one.station == change.station]
        permitted = [int(channel) for channel in self.plan.choices.split()]
        room = Room(permitted, self.rules.deaf.get(change.store, {}))
        return read_order(cell, word, change, sorted(steps, key=lambda s: s.position), room)

    def _result(self, row: Cells, change: Change) -> ChangeEvent | None:
        word = self._read(RESULTS, row["outcome"], lambda c: read_choice(c, OUTCOME_WORDS))
        by = self._read(RESULTS, row["by"], read_name)
        at = self._read(RESULTS, row["done_at"], lambda c: self._dated(read_moment(c)))
        note = self._read(RESULTS, row["note"], read_note)
        if word is None or by is None or at is None or note is None:
            return None
        if word == "done differently" and not note:
            self._refuse(RESULTS.sheet, row["note"].at, "say in the note what was done instead")
            return None
        return new_event(
            change.change, RESULT_STATES[word], at, by, note, word, workbook=self.returned.file
        )

    def _accepted(self, row: Cells, change: Change) -> ChangeEvent | None:
        """Return what a row of the commissioning sheet says: accepted, or not, and why."""
        checks = {key: self._read(COMMISSION, row[key], _read_check) for key in CHECKS}
        by = self._read(COMMISSION, row["by"], read_name)
        at = self._read(COMMISSION, row["done_at"], lambda c: self._dated(read_moment(c)))
        note = self._read(COMMISSION, row["note"], read_note)
        if None in checks.values() or by is None or at is None or note is None:
            return None
        failed = [key.replace("_", " ") for key, word in checks.items() if word == NO]
        if failed:
            note = f"not accepted, does not hold: {', '.join(failed)}{f'; {note}' if note else ''}"
        state = ChangeState.APPROVED if failed else ChangeState.IMPLEMENTED
        result = "not done" if failed else ACCEPTED
        return new_event(change.change, state, at, by, note, result, workbook=self.returned.file)

    def _dated(self, at: datetime) -> datetime:
        first, most, today = self.plan.proposed_on, self.rules.answer_days_most, self.rules.today
        if at.date() < first:
            raise EntryProblem(f"{at:%Y-%m-%d} is before the plan's date, {first}")
        if today is not None and at.date() > today:
            raise EntryProblem(f"{at:%Y-%m-%d} is in the future; today is {today}")
        if at.date() > first + timedelta(days=most):
            raise EntryProblem(
                f"{at:%Y-%m-%d} is more than {most} days after the plan's date, {first}"
            )
        return at


def _read_check(cell: Cell) -> str:
    if not cell.text:
        raise EntryProblem("this check has no answer; every check of a station needs a yes or no")
    return read_choice(cell, YES_NO)


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
        "pan_id": "" if change.pan_id is None else pan_text(change.pan_id),
        "power": plain(change.tx_power_dbm),
    }
