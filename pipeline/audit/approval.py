"""Who approved a departure from the baseline: a change of the register, an exception, or nobody."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.audit.agreed import Agreement
from pipeline.audit.fields import ANY, CHANNEL, EUI64, FIELDS, HARDWARE, STATION, Values, excepts
from pipeline.audit.records import Kind, OnFile, Order, StoreFacts

_COVERS = frozenset({"approved", "scheduled", "implemented", "ineffective"})
_VERIFIED = "verified"


@dataclass(frozen=True, slots=True)
class Case:
    """A field of a station that departs from what is agreed, on a day.

    `names` are those the station went by up to that day, `wanted` what is agreed of all its fields,
    `agreement` the row about this one, `row` what was found of all of them (None: not listed).
    """

    names: frozenset[str]
    place: int
    day: date
    wanted: Values
    agreement: Agreement | None
    row: Values | None

    @property
    def found(self) -> str | None:
        """What was found of the field."""
        return None if self.row is None else self.row[self.place]


@dataclass(frozen=True, slots=True)
class Judged:
    """What a departure is, and the change or exception that approves it."""

    kind: Kind
    order: Order | None = None
    exception: OnFile | None = None


def judge(case: Case, facts: StoreFacts) -> Judged:
    """Return what a departure is: approved by a change, by an exception, or of which kind."""
    if case.place == CHANNEL:
        order = _order(case, facts.orders)
        if order is not None:
            return Judged(Kind.APPROVED, order=order)
    for exception in facts.exceptions:
        meant = exception.subject == ANY or exception.subject in case.names
        if meant and exception.holds(case.day) and excepts(exception.rule, FIELDS[case.place]):
            return Judged(Kind.DEVIATION, exception=exception)
    return Judged(_unapproved(case))


def _unapproved(case: Case) -> Kind:
    wanted, row = case.wanted, case.row
    if case.place == STATION:
        if wanted[STATION] is None:
            return Kind.NEW
        return Kind.GONE if row is None else Kind.RENAMED
    if case.place == HARDWARE and row is not None:
        known = None not in {wanted[EUI64], row[EUI64]}
        return Kind.REPLACED if known and wanted[EUI64] != row[EUI64] else Kind.DRIFT
    return Kind.REPLACED if case.place == EUI64 else Kind.DRIFT


def _order(case: Case, orders: Sequence[Order]) -> Order | None:
    """Return the change that approves a channel which the baseline does not have yet.

    A verified change has moved the baseline and approves nothing more, unless it is a parking step
    whose plan is still under way. What was agreed anew since ends what was approved before.
    """
    own = [order for order in orders if order.station in case.names]
    for order in reversed(own):
        last = order.last(case.day)
        if last is None or order.to_channel != case.found:
            continue
        if case.agreement is not None and last.day < case.agreement.approved_on:
            continue
        if last.state in _COVERS or (last.state == _VERIFIED and _parked(order, own, case.day)):
            return order
    return None


def _parked(order: Order, own: Sequence[Order], day: date) -> bool:
    """Tell whether a parking step's plan still has a step of the same station under way."""
    others = [o.last(day) for o in own if o.plan == order.plan and o is not order]
    return order.parking and any(h is not None and h.state in _COVERS for h in others)
