"""Take decisions and results from the workbooks that came back."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.changes.records import Change, Event, Refusal, Taken
from pipeline.changes.register import append
from pipeline.changes.returned import Returned, files_of, read_workbook
from pipeline.changes.review import Draft, Plan, Review, Reviewed, Rules
from pipeline.changes.states import Standing, State, Step, admit
from pipeline.database import Database
from pipeline.errors import EventOutOfOrder, TransitionIllegal
from pipeline.settings import Settings


@dataclass(frozen=True, slots=True)
class Known:
    """What the register holds of the plans that came back."""

    plans: Mapping[str, Plan]
    changes: Mapping[str, Change]
    standings: Mapping[str, Standing]
    events: Mapping[str, Sequence[Event]]


@dataclass(slots=True)
class _Tally:
    """What becomes of one workbook, as it comes together."""

    reviewed: Reviewed
    refusals: list[Refusal]
    taken: list[Draft] = field(default_factory=list)
    repeated: int = 0

    def done(self) -> Taken:
        """Return it for people to read."""
        steps = [draft.step for draft in self.taken]
        return Taken(
            self.reviewed.workbook,
            self.reviewed.store,
            steps.count(Step.DECIDE),
            steps.count(Step.RESULT),
            self.repeated,
            tuple(self.refusals),
        )


def decide(
    database: Database,
    settings: Settings,
    workbooks: Sequence[Path],
    *,
    all_or_nothing: bool = False,
    today: date | None = None,
) -> tuple[Taken, ...]:
    """Take the decisions and results of workbooks into the register.

    What is wrong is refused with its place; the rest of the workbook is taken, or none of it with
    `all_or_nothing`. A workbook that comes again changes nothing.

    Args:
        database: holds the register.
        settings: name the approvers.
        workbooks: files, or folders of them.
        all_or_nothing: take nothing from a workbook of which something is refused.
        today: the last day a decision can be of; None: any day the rules file's limit allows.

    Returns:
        What became of every workbook, in order of their names.
    """
    read = [(path, read_workbook(path)) for path in files_of(workbooks)]
    # Other workbooks that lie in a folder are none of our business; one named by a person is.
    returned = [one for path, one in read if not one.foreign or path in workbooks]
    plans = [plan for one in returned if (plan := one.plan)]
    known = _known(database, plans)
    rules = Rules(settings.approvers, int(settings.limits["answer_days_most"]), today)
    tallies = [_tally(_reviewed(one, known, rules)) for one in returned]
    _settle(tallies, known, all_or_nothing=all_or_nothing)
    with database.transaction():
        for step in (Step.DECIDE, Step.RESULT):
            drafts = [draft for tally in tallies for draft in tally.taken if draft.step is step]
            append(database, step, [draft.event for draft in sorted(drafts, key=_in_time)])
    return tuple(tally.done() for tally in tallies)


def _known(database: Database, plans: Sequence[str]) -> Known:
    asked = {"plans": sorted(set(plans))}
    rows = database.rows("changes", "changes_of", asked)
    events: dict[str, list[Event]] = {}
    for change, state, *rest in database.rows("changes", "events_of", asked):
        events.setdefault(change, []).append(Event(change, State(state), *rest))
    return Known(
        {row[0]: Plan(*row) for row in database.rows("changes", "plans")},
        {row[0]: _change(row) for row in rows},
        {row[0]: Standing(State(row[-2]), row[-1]) for row in rows},
        events,
    )


def _change(row: Sequence[Any]) -> Change:
    return Change(*row[:-2])


def _reviewed(returned: Returned, known: Known, rules: Rules) -> Reviewed:
    plan = known.plans.get(returned.plan or "")
    if plan is not None:
        return Review(returned, plan, known.changes, rules).result()
    refusals = list(returned.refusals)
    nothing_to_fill_in = returned.plan is None and not (returned.decisions or returned.results)
    if not refusals and not nothing_to_fill_in:
        named = f"plan {returned.plan[:80]}, which" if returned.plan else "no plan that"
        sentence = f"it names {named} the register does not know; send out the plan anew"
        if returned.plan is None:
            sentence = "it does not say which plan it belongs to; send out the plan anew"
        refusals.append(Refusal(returned.workbook, returned.store, None, None, sentence))
    return Reviewed(returned.workbook, returned.store, (), tuple(refusals))


def _tally(reviewed: Reviewed) -> _Tally:
    return _Tally(reviewed, list(reviewed.refusals))


def _settle(tallies: Sequence[_Tally], known: Known, *, all_or_nothing: bool) -> None:
    """Sort every draft into taken, repeated or refused; workbooks are judged together."""
    _refuse_disagreements(tallies)
    blocked: set[int] = set()
    while True:
        for tally in tallies:
            tally.taken, tally.repeated = [], 0
        refused = list(_admitted(tallies, known, blocked))
        fresh = {at for at, tally in enumerate(tallies) if all_or_nothing and tally.refusals}
        fresh |= {at for at, _ in refused if all_or_nothing}
        if fresh <= blocked:
            break
        blocked |= fresh  # what a blocked workbook said may have stood in another one's way
    for at, refusal in refused:
        tallies[at].refusals.append(refusal)


def _refuse_disagreements(tallies: Sequence[_Tally]) -> None:
    """Refuse what two rows or workbooks say differently of one change."""
    said: dict[tuple[str, Step], list[Draft]] = {}
    for tally in tallies:
        for draft in tally.reviewed.drafts:
            said.setdefault((draft.change.change, draft.step), []).append(draft)
    for tally in tallies:
        kept: list[Draft] = []
        for draft in tally.reviewed.drafts:
            others = [o for o in said[draft.change.change, draft.step] if _differs(o, draft)]
            if others:
                tally.refusals.append(_disagreement(draft, others[0]))
            else:
                kept.append(draft)
        tally.reviewed = Reviewed(
            tally.reviewed.workbook, tally.reviewed.store, tuple(kept), tally.reviewed.refusals
        )


def _differs(one: Draft, other: Draft) -> bool:
    return (one.event.state, one.event.result) != (other.event.state, other.event.result)


def _disagreement(draft: Draft, other: Draft) -> Refusal:
    place = f"{other.workbook}, sheet {other.sheet}, cell {other.cell}"
    mine, theirs = (d.event.result or d.event.state.value for d in (draft, other))
    return _refusal(draft, f"it says {mine} of change {draft.change.change}, {place} says {theirs}")


def _admitted(
    tallies: Sequence[_Tally], known: Known, blocked: Iterable[int]
) -> Iterator[tuple[int, Refusal]]:
    """Put the drafts to the register, decisions first, each kind in order of time."""
    stands = dict(known.standings)
    drafts = [
        (at, draft)
        for at, tally in enumerate(tallies)
        if at not in blocked
        for draft in tally.reviewed.drafts
    ]
    taken: set[tuple[str, State, str | None]] = set()
    stale: set[int] = set()  # said once of a workbook
    for at, draft in sorted(drafts, key=lambda one: (one[1].step, *_in_time(one[1]))):
        event, said = draft.event, (draft.change.change, draft.event.state, draft.event.result)
        if said in taken or _on_file(event, known.events.get(event.change, ())):
            tallies[at].repeated += 1
            continue
        plan = known.plans[draft.change.plan]
        if draft.step is Step.DECIDE and plan.superseded_by:
            if at not in stale:
                yield at, _refusal(draft, plan.stale)
            stale.add(at)
            continue
        sentence = _obstacle(event, draft.step, stands.get(event.change))
        if sentence is not None:
            yield at, _refusal(draft, sentence)
            continue
        stands[event.change] = Standing(event.state, event.at)
        taken.add(said)
        tallies[at].taken.append(draft)


def _on_file(event: Event, events: Iterable[Event]) -> bool:
    """Tell whether the register has this decision or result already."""
    return any(
        (known.state, known.at, known.by, known.result)
        == (event.state, event.at, event.by, event.result)
        for known in events
    )


def _obstacle(event: Event, step: Step, standing: Standing | None) -> str | None:
    """Return why the register cannot take an event, or None."""
    try:
        admit(standing, event, step)
    except (TransitionIllegal, EventOutOfOrder) as error:
        return str(error)
    assert standing is not None  # noqa: S101 - only a proposal starts from nothing
    decided = standing.state is not State.PROPOSED and step is Step.DECIDE
    if decided and event.at.date() <= standing.at.date():
        return (
            f"change {event.change} is {standing.state} since {standing.at:%Y-%m-%d}; "
            "a change of mind needs a later date"
        )
    return None


def _refusal(draft: Draft, sentence: str) -> Refusal:
    return Refusal(draft.workbook, draft.change.store, draft.sheet, draft.cell, sentence)


def _in_time(draft: Draft) -> tuple[object, ...]:
    return draft.event.at, draft.change.store, draft.change.position, draft.event.by
