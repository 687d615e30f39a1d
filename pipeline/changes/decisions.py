"""Take decisions and results from the workbooks that came back."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from pipeline.changes.found import answer_found
from pipeline.changes.groups import Decided, OrderPricing, decided, parted, priced, unknown_price
from pipeline.changes.orders import DeafLabels
from pipeline.changes.register import append, standings
from pipeline.changes.returned import Returned, files_of, read_workbook
from pipeline.changes.review import Draft, PlanOnFile, Review, Rules, Tally
from pipeline.changes.states import ChangeStanding, ChangeState, Trigger, admit
from pipeline.database import Database
from pipeline.errors import EventOutOfOrder, TransitionIllegal
from pipeline.forms import ACCEPTED
from pipeline.fresh import narrowed
from pipeline.originals import keep_originals
from pipeline.records import WorkbookRefusal, grouped
from pipeline.settings import Settings
from pipeline.tables.changes import Change, ChangeEvent
from pipeline.tables.taken import InventoryAnswer

_GIVEN = (ChangeState.SCHEDULED, ChangeState.INEFFECTIVE)  # approved before, and not taken back


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of one workbook that came back."""

    workbook: str
    store: str | None
    decisions: int
    results: int
    repeated: int  # decisions and results that the register has already
    refusals: tuple[WorkbookRefusal, ...]
    priced: tuple[str, ...] = ()  # what other channels and split groups cost or gain


@dataclass(frozen=True, slots=True)
class Filed:
    """What the register holds of the plans that came back."""

    plans: Mapping[str, PlanOnFile]
    changes: Mapping[str, Change]
    standings: Mapping[str, ChangeStanding]
    events: Mapping[str, Sequence[ChangeEvent]]
    deaf: Mapping[str, Mapping[int, int]]
    price: OrderPricing

    @property
    def ordered(self) -> Mapping[str, int]:
        """The channel that the last approval of a change ordered, where it is another."""
        approvals = {
            change: [event for event in events if event.state == ChangeState.APPROVED]
            for change, events in self.events.items()
        }
        return {c: es[-1].channel for c, es in approvals.items() if es and es[-1].channel}


def decide(  # noqa: PLR0913 - what it needs to know, by name
    database: Database,
    settings: Settings,
    workbooks: Sequence[Path],
    *,
    all_or_nothing: bool = False,
    today: date | None = None,
    price: OrderPricing = unknown_price,
) -> tuple[Taken, ...]:
    """Take the decisions and results of workbooks into the register.

    What is wrong is refused with its place; the rest of the workbook is taken, or none of it with
    `all_or_nothing`. A workbook that comes again changes nothing. Changes that need one another are
    decided alike, unless a remark says that they are split.

    Args:
        database: holds the register.
        settings: name the approvers.
        workbooks: files, or folders of them.
        all_or_nothing: take nothing from a workbook of which something is refused.
        today: the last day a decision can be of; None: any day the rules file's limit allows.
        price: says what another channel, or half of a group, is worth.

    Returns:
        What became of every workbook, in order of their names.
    """
    read = [(path, read_workbook(path)) for path in files_of(workbooks)]
    # Skip other workbooks that lie in a folder; refuse one that a person named.
    returned = [one for path, one in read if not one.foreign or path in workbooks]
    filed = _filed(database, sorted({one.plan for one in returned if one.plan}), price)
    most = int(settings.limits["answer_days_most"])
    rules = Rules(settings.approvers, most, today, filed.deaf)
    tallies = [_tally(one, filed, rules) for one in returned]
    answer_found(database, returned, tallies, settings.approvers, today)
    _judge(tallies, filed, all_or_nothing=all_or_nothing)
    _price(tallies, filed)
    for tally in tallies:
        tally.answers = [] if all_or_nothing and tally.refusals else tally.answers
    useful = {tally.workbook for tally in tallies if tally.taken or tally.answers}
    with database.transaction():
        keep_originals(
            database, "workbook", [one.original for one in returned if one.workbook in useful]
        )
        for trigger in (Trigger.DECIDE, Trigger.RESULT, Trigger.TAKE_OVER):
            taken = [draft for tally in tallies for draft in tally.taken]
            drafts = sorted((d for d in taken if d.trigger is trigger), key=_in_time)
            append(database, trigger, [draft.event for draft in drafts])
        database.put(InventoryAnswer, [one for tally in tallies for one in tally.answers])
    return tuple(map(_taken, tallies))


def _filed(database: Database, plans: Sequence[str], price: OrderPricing) -> Filed:
    asked = {"plans": plans}
    on_file = database.records(PlanOnFile, "changes", "plans_on_file")
    changes = database.records(Change, "changes", "changes_of", asked)
    events = database.records(ChangeEvent, "changes", "events_of", asked)
    return Filed(
        {plan.plan: plan for plan in on_file},
        {change.change: change for change in changes},
        standings(database),
        grouped(events, "change"),
        _deaf(database, sorted({change.store for change in changes})),
        price,
    )


def _deaf(database: Database, stores: Sequence[str]) -> Mapping[str, Mapping[int, int]]:
    with narrowed(database, stores, "label_matched"):
        rows = database.records(DeafLabels, "changes", "deaf_labels", {"stores": stores})
    by_store = grouped(rows, "store")
    return {store: {row.channel: row.labels for row in deaf} for store, deaf in by_store.items()}


def _tally(returned: Returned, filed: Filed, rules: Rules) -> Tally:
    plan = filed.plans.get(returned.plan or "")
    if plan is not None:
        return Review(returned, plan, filed.changes, rules, filed.ordered).result()
    refusals = list(returned.refusals)
    filled = returned.decisions or returned.results or returned.commissioned
    nothing_to_fill_in = not filled and (returned.plan is None or bool(returned.inventory))
    if not refusals and not nothing_to_fill_in:
        sentence = "it does not say which plan it belongs to; send the plan out again"
        if returned.plan is not None:
            named = f"plan {returned.plan[:80]}, which" if returned.plan else "no plan that"
            sentence = f"it names {named} the register does not have; send the plan out again"
        refusals.append(WorkbookRefusal(returned.workbook, returned.store, None, None, sentence))
    return Tally(returned.workbook, returned.store, [], refusals)


def _taken(tally: Tally) -> Taken:
    triggers = [draft.trigger for draft in tally.taken]
    return Taken(
        tally.workbook,
        tally.store,
        triggers.count(Trigger.DECIDE) + len(tally.answers),
        len(triggers) - triggers.count(Trigger.DECIDE),
        tally.repeated,
        tuple(tally.refusals),
        tuple(tally.priced),
    )


def _judge(tallies: Sequence[Tally], filed: Filed, *, all_or_nothing: bool) -> None:
    """Sort every draft into taken, repeated or refused; workbooks are judged together."""
    _refuse_disagreements(tallies)
    blocked: set[int] = set()
    barred: dict[Draft, str] = {}
    told: list[tuple[int, WorkbookRefusal]] = []  # of workbooks blocked on the way
    while True:
        for tally in tallies:
            tally.taken, tally.repeated = [], tally.known
        refused = list(_admitted(tallies, filed, blocked, barred))
        fresh = {at for at, tally in enumerate(tallies) if all_or_nothing and tally.refusals}
        fresh |= {at for at, _ in refused if all_or_nothing}
        if not fresh <= blocked:
            told += [(at, refusal) for at, refusal in refused if at not in blocked]
            blocked |= fresh  # what a blocked workbook said may have stood in another one's way
        elif parts := dict(_parted(tallies, filed)):
            barred |= parts
        else:
            break
    for at, refusal in [*told, *refused]:
        tallies[at].refusals.append(refusal)


def _plans(tallies: Sequence[Tally], filed: Filed) -> Iterator[tuple[Decided, list[Draft]]]:
    """Yield each plan as it would be decided, with the drafts of decisions taken on it."""
    taken = [draft for tally in tallies for draft in tally.taken]
    drafts = sorted((d for d in taken if d.trigger is Trigger.DECIDE), key=_in_time)
    changes = grouped(filed.changes.values(), "plan")
    by_plan: dict[str, list[Draft]] = {}
    for draft in drafts:
        by_plan.setdefault(draft.change.plan, []).append(draft)
    for plan, mine in by_plan.items():
        known = [e for change in changes[plan] for e in filed.events.get(change.change, ())]
        yield decided(changes[plan], [*known, *(draft.event for draft in mine)]), mine


def _parted(tallies: Sequence[Tally], filed: Filed) -> Iterator[tuple[Draft, str]]:
    for plan, drafts in _plans(tallies, filed):
        yield from parted(plan, drafts, filed.price)


def _price(tallies: Sequence[Tally], filed: Filed) -> None:
    """Give every order of another channel its promise, and say what orders and halves cost."""
    for plan, drafts in list(_plans(tallies, filed)):
        kept, told = priced(plan, drafts, filed.price)
        new = dict(zip(drafts, kept, strict=True))
        for tally in tallies:
            tally.taken = [new.get(draft, draft) for draft in tally.taken]
            mine = {draft.change.change for draft in tally.taken}
            tally.priced += [sentence for change, sentence in told if change in mine]


def _refuse_disagreements(tallies: Sequence[Tally]) -> None:
    """Refuse what two rows or workbooks say differently of one change."""
    said: dict[tuple[str, Trigger], list[Draft]] = {}
    for tally in tallies:
        for draft in tally.drafts:
            said.setdefault((draft.change.change, draft.trigger), []).append(draft)
    for tally in tallies:
        kept: list[Draft] = []
        for draft in tally.drafts:
            answers = said[draft.change.change, draft.trigger]
            other = next((o for o in answers if _answer(o) != _answer(draft)), None)
            if other is None:
                kept.append(draft)
            else:
                tally.refusals.append(_disagreement(draft, other))
        tally.drafts = kept


_Answer = tuple[str, str | None, int | None, date | None]


def _answer(draft: Draft) -> _Answer:
    event = draft.event
    return event.state, event.result, event.channel, event.until


def _disagreement(draft: Draft, other: Draft) -> WorkbookRefusal:
    place = f"{other.workbook}, sheet {other.sheet}, cell {other.cell}"
    mine, theirs = _said(draft.event), _said(other.event)
    return draft.refused(
        f"it says {mine} for change {draft.change.change}, but {place} says {theirs}"
    )


def _said(event: ChangeEvent) -> str:
    channel = f" on channel {event.channel}" if event.channel else ""
    until = f" until {event.until}" if event.until else ""
    return f"{event.result or event.state}{channel}{until}"


def _admitted(
    tallies: Sequence[Tally], filed: Filed, blocked: Collection[int], barred: Mapping[Draft, str]
) -> Iterator[tuple[int, WorkbookRefusal]]:
    """Put the drafts to the register, decisions first, each kind in order of time."""
    stands = dict(filed.standings)
    _keep_verified(tallies, stands)
    drafts = [
        (at, draft)
        for at, tally in enumerate(tallies)
        if at not in blocked
        for draft in tally.drafts
    ]
    taken: set[tuple[str, _Answer]] = set()
    stale: set[int] = set()  # said once of a workbook
    for at, draft in sorted(drafts, key=lambda one: (one[1].trigger, *_in_time(one[1]))):
        event = draft.event
        said = (event.change, _answer(draft))
        if said in taken or _on_file(event, filed.events.get(event.change, ())):
            tallies[at].repeated += 1
            continue
        plan = filed.plans[draft.change.plan]
        if draft.trigger is Trigger.DECIDE and plan.superseded_by:
            if at not in stale:
                yield at, draft.refused(plan.stale)
            stale.add(at)
            continue
        sentence = barred.get(draft) or _obstacle(draft, stands[event.change], filed)
        if sentence is not None:
            yield at, draft.refused(sentence)
            continue
        stands[event.change] = ChangeStanding(event.change, event.state, event.at)
        taken.add(said)
        tallies[at].taken.append(draft)


def _keep_verified(tallies: Sequence[Tally], stands: Mapping[str, ChangeStanding]) -> None:
    """Let a station be accepted that the exports have verified: that is how it stays."""
    for tally in tallies:
        tally.drafts = [
            replace(draft, event=replace(draft.event, state=ChangeState.VERIFIED))
            if draft.event.result == ACCEPTED
            and stands[draft.change.change].state == ChangeState.VERIFIED
            else draft
            for draft in tally.drafts
        ]


def _on_file(event: ChangeEvent, events: Iterable[ChangeEvent]) -> bool:
    """Tell whether the register has this decision or result already."""
    return any(
        (known.state, known.at, known.by, known.result, known.channel, known.until)
        == (event.state, event.at, event.by, event.result, event.channel, event.until)
        for known in events
    )


def _obstacle(draft: Draft, standing: ChangeStanding, filed: Filed) -> str | None:
    """Return why the register cannot take a draft, or None."""
    event = draft.event
    if draft.trigger is Trigger.DECIDE and (same := _nothing_new(draft, standing, filed)):
        return same
    try:
        admit(standing, event, draft.trigger)
    except (TransitionIllegal, EventOutOfOrder) as error:
        return str(error)
    decided = standing.state != ChangeState.PROPOSED and draft.trigger is Trigger.DECIDE
    if decided and event.at.date() <= standing.at.date():
        return (
            f"change {event.change} has been {standing.state} since {standing.at:%Y-%m-%d}; "
            "a change of mind needs a later date"
        )
    return None


def _nothing_new(draft: Draft, standing: ChangeStanding, filed: Filed) -> str | None:
    """Say so where a decision says again what holds already."""
    event, before = draft.event, filed.events.get(draft.change.change, ())
    last = next((e for e in reversed(before) if e.state == event.state and not e.result), None)
    if last is None or (last.channel, last.until) != (event.channel, event.until):
        return None
    if event.state != (ChangeState.APPROVED if standing.state in _GIVEN else standing.state):
        return None
    if event.state == ChangeState.DEFERRED:
        return None
    return f"change {event.change} is {_said(event)} already, since {last.at:%Y-%m-%d}"


def _in_time(draft: Draft) -> tuple[object, ...]:
    return draft.event.at, draft.change.store, draft.change.position, draft.event.by
