"""What the audit of a quarter says: its records, and the sentences made from them."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.records import Inputs, Seal
from pipeline.report.quarter.sample import SampleOutcome
from pipeline.tables.audit import AS_FOUND, AuditPromise, AuditStore
from pipeline.wording import NOTHING, Wording

_APPROVERS_NAMED = 3
_MONTHS = 3


@dataclass(frozen=True, slots=True)
class QuarterFigures:
    """A quarter in figures; `region` None: the whole portfolio.

    `astray` counts the stations of which somebody must answer something that is no likely rollout,
    `begun` those of them with something first seen in the quarter, `rolled` the stations of
    `rollouts`. `asked` to `excepted` count departures, one field of a station each: to answer, of
    them of a channel, found as ordered, done differently, undone, not ordered and no rollout,
    approved afterwards, under an exception. `unagreed` counts the stations of which nothing was
    ever agreed. Findings are None if no run counted them.
    """

    quarter: str
    region: str | None
    stores: int
    covered: int
    stations: int
    astray: int
    begun: int
    rolled: int
    rollouts: int
    asked: int
    channels: int
    ordered: int
    differently: int
    undone: int
    nobody: int
    accepted: int
    excepted: int
    unagreed: int
    clear_air: float | None
    opened: int | None
    closed: int | None
    findings: int | None

    @property
    def rate(self) -> float | None:
        """The share of audited stations that are astray, or None if none was audited."""
        return self.astray / self.stations if self.stations else None

    @property
    def coverage(self) -> float:
        """The share of stores that an export describes."""
        return self.covered / self.stores if self.stores else 0.0


@dataclass(frozen=True, slots=True)
class ToAnswer:
    """What somebody must answer: departures of one cause, at one station or, alike, at several.

    Of several, `store`, `name` and `subject` are the first; `clear_air_lost` is the most at one.
    """

    cause: str
    field: str
    kind: str
    by_order: str
    agreed: str | None
    found: str | None
    stations: int
    stores: int
    store: str
    name: str
    subject: str
    first_seen: date | None
    last_seen: date | None
    stood_days: int | None
    clear_air_lost: float | None
    rollout: bool
    approved_by: str | None
    approved_on: date | None
    change: str | None
    answer: str | None
    answered_by: str | None
    answered_on: date | None


@dataclass(frozen=True, slots=True)
class Approval:
    """What a baseline approved in the quarter had departed before: alike, at some stations."""

    store: str
    name: str | None
    field: str
    agreed: str | None
    found: str | None
    by_order: str | None
    approved_by: str
    approved_on: date
    reason: str
    version: int
    stations: int
    first_seen: date | None
    subjects: str


@dataclass(frozen=True, slots=True)
class TypeRate:
    """A store type: its audited stations, and those astray."""

    store_type: str
    stations: int
    astray: int


@dataclass(frozen=True, slots=True)
class RepeatStore:
    """A store in which something went astray in several of the last four quarters."""

    store: str
    name: str
    region: str
    quarters: int
    departures: int


@dataclass(frozen=True, slots=True)
class StateCount:
    """Changes that stood so at the end of the quarter, and those that came to within it."""

    state: str
    changes: int
    entered: int


@dataclass(frozen=True, slots=True)
class RuleCount:
    """Findings of one rule."""

    rule: str
    title: str
    severity: str
    opened: int
    closed: int
    standing: int


@dataclass(frozen=True, slots=True)
class QuarterDeparture:
    """One departure, as in the table `drift`; `cause`: somebody must answer it."""

    region: str
    store: str
    name: str
    subject: str
    field: str
    agreed: str | None
    found: str | None
    kind: str
    meanwhile: str | None
    first_seen: date | None
    stood_days: int | None
    approved_by: str | None
    approved_on: date | None
    change: str | None
    exception: str | None
    basis: str
    clear_air_lost: float | None
    by_order: str | None
    cause: str | None
    answer: str | None
    answered_by: str | None
    answered_on: date | None


@dataclass(frozen=True, slots=True)
class QuarterEdition:
    """An edition of an audit and the day of the run that made it; see `QuarterContent`."""

    edition: int | None
    made_on: date


@dataclass(frozen=True, slots=True)
class RestatedLine:
    """What an edition tells otherwise than the one before; or an export that came between them.

    `change` is 'told now', 'told before' or 'export', of which `subject` is the file.
    """

    change: str
    store: str | None
    subject: str
    field: str | None
    agreed: str | None
    found: str | None
    kind: str | None
    by_order: str | None


@dataclass(frozen=True, slots=True)
class QuarterContent:
    """Everything the audit of a quarter says.

    `edition` None: the quarter is not over, and the audit covers it up to `made_on`. A first
    edition does not say when it was made, so that it is the same whenever it is made.
    """

    quarter: str
    edition: int | None
    made_on: date | None
    trend: tuple[QuarterFigures, ...]  # the whole portfolio, quarter by quarter, this one last
    regions: tuple[
        tuple[QuarterFigures, QuarterFigures | None], ...
    ]  # this quarter, and the one before
    causes: tuple[ToAnswer, ...]
    approvals: tuple[Approval, ...]
    types: tuple[TypeRate, ...]
    repeated: tuple[RepeatStore, ...]
    states: tuple[StateCount, ...]
    measured: tuple[AuditPromise, ...]
    rules: tuple[RuleCount, ...]
    differences: tuple[QuarterDeparture, ...]
    stores: tuple[AuditStore, ...]
    samples: tuple[SampleOutcome, ...]
    restated: tuple[RestatedLine, ...]
    seal: Seal | None
    inputs: Inputs | None = None
    approvers: tuple[str, ...] = ()

    @property
    def now(self) -> QuarterFigures:
        """The whole portfolio in this quarter."""
        return self.trend[-1]

    @property
    def before(self) -> QuarterFigures | None:
        """The whole portfolio in the quarter before."""
        return self.trend[-2] if len(self.trend) > 1 else None

    @property
    def first(self) -> date:
        """The quarter's first day."""
        return date(int(self.quarter[:4]), _MONTHS * (int(self.quarter[-1]) - 1) + 1, 1)

    @property
    def last(self) -> date:
        """The quarter's last day."""
        later = self.first + timedelta(days=_MONTHS * 31)
        return later.replace(day=1) - timedelta(days=1)

    @property
    def following(self) -> str:
        """The quarter after it."""
        later = self.last + timedelta(days=1)
        return f"{later.year}-Q{(later.month - 1) // _MONTHS + 1}"

    @property
    def settled(self) -> int:
        """The departures of nobody's order, likely rollouts apart, that need no answer any more."""
        return sum(d.by_order == "not ordered" and d.cause is None for d in self.differences)

    @property
    def to_act_on(self) -> tuple[QuarterDeparture, ...]:
        """The departures that somebody must answer."""
        return tuple(one for one in self.differences if one.cause is not None)

    @property
    def uncovered(self) -> tuple[AuditStore, ...]:
        """The stores that no export of the quarter describes."""
        return tuple(store for store in self.stores if not store.exports)

    @property
    def without_baseline(self) -> tuple[AuditStore, ...]:
        """The audited stores that have no baseline."""
        return tuple(s for s in self.stores if s.exports and s.version is None)


def reason_of(approval: Approval, words: Wording) -> str:
    """Return why it was approved; where the approver gave no reason, that it was as found."""
    return words("audit.as_found") if approval.reason.startswith(AS_FOUND) else approval.reason


def verdict(content: QuarterContent, words: Wording) -> str:
    """Return what is asked of whom, and what the audit found, in a few sentences."""
    now = content.now
    if not now.stations:
        return words("audit.verdict_nothing", stores=words.number(now.stores))
    parts = [*_asked(content, words)]
    if now.accepted:
        parts.append(words.counted("audit.verdict_accepted", now.accepted))
    if missing := now.stores - now.covered:
        parts.append(words.counted("audit.verdict_missing", missing, all=words.number(now.stores)))
    return " ".join(parts)


def _asked(content: QuarterContent, words: Wording) -> Iterator[str]:
    """Yield what is asked of whom and by when; where nothing is, that all is as agreed."""
    now, whom = content.now, asked_of(content, words)
    if now.asked:
        key = "audit.all_channels" if now.channels == now.asked else "audit.of_channels"
        channels = words.counted(key, now.channels) if now.channels else ""
        yield words.counted("audit.verdict", now.asked, channels=channels, whom=whom)
        yield _at_stations(now, words)
    elif now.rollouts:
        yield words("audit.to_whom", whom=whom)
    if now.rollouts:
        yield _rollouts(content, words)
    if now.unagreed:
        too = now.asked or now.rollouts
        key = "audit.verdict_unagreed_too" if too else "audit.verdict_unagreed"
        yield words.counted(key, now.unagreed, whom=whom)
    if now.asked or now.rollouts or now.unagreed:
        yield words("audit.verdict_again", quarter=content.following)
    agreed_on = now.stations - now.unagreed
    if agreed_on and not (now.asked or now.rollouts):
        key = "audit.verdict_rest" if now.unagreed else "audit.verdict_clean"
        yield words(key, all=words.number(agreed_on))


def _rollouts(content: QuarterContent, words: Wording) -> str:
    told = max((one for one in content.causes if one.rollout), key=lambda one: one.stations)
    return words.counted(
        "audit.verdict_rollout", content.now.rollouts, what=what(told, words),
        where=where(told, words), rolled=words.number(content.now.rolled),
    )  # fmt: skip


def asked_of(content: QuarterContent, words: Wording) -> str:
    """Return who is to answer: the first of those who approve by name, if they are known."""
    names = words("wanted.or").join(content.approvers[:_APPROVERS_NAMED])
    return names or words("wanted.approvers")


def nothing_to_answer(content: QuarterContent, words: Wording) -> str:
    """Return why nobody has to answer anything: all is as agreed, or nothing is agreed yet."""
    agreed = content.now.stations > content.now.unagreed
    return words("audit.act_none" if agreed else "audit.act_unagreed")


def _at_stations(now: QuarterFigures, words: Wording) -> str:
    all_of = words.number(now.stations)
    share = rate_text(words, now.rate)
    return words.counted("audit.verdict_stations", now.astray, all=all_of, rate=share)


def what(one: ToAnswer, words: Wording) -> str:
    """Return what changed, such as: firmware, 3.1.9 to 3.2.0."""
    if one.kind in {"new", "gone", "renamed"}:
        return f"{words.field(one.field)} {words.named('kind', one.kind)}"
    values = words("audit.from_to", agreed=one.agreed or NOTHING, found=one.found or NOTHING)
    name, _, unit = words.field(one.field).partition(", ")
    return f"{name.split(':')[0]} {values} {unit}".rstrip()


def where(one: ToAnswer, words: Wording) -> str:
    """Return where: the station and the name of its store, or how many of both."""
    if one.stations == 1:
        return f"{one.subject}, {one.name}"
    stores = words.counted("audit.in_stores", one.stores)
    return words("audit.at_stations", n=words.number(one.stations), stores=stores)


def to_do(one: ToAnswer, words: Wording) -> str:
    """Return what was answered, else what to do."""
    if one.answer is not None:
        answered = {"by": one.answered_by or "", "day": words.day(one.answered_on)}
        return words(f"answered.{one.answer.replace(' ', '_')}", **answered)
    if one.rollout:
        return words("action.rollout")
    if one.by_order == "done differently":
        return words("action.done_differently", channel=one.agreed or NOTHING)
    return words.named("action", one.kind)


def edition(content: QuarterContent, words: Wording) -> str:
    """Return which edition this is, in words."""
    if content.edition is None:
        return words("audit.provisional", day=words.day(content.made_on))
    if content.edition == 1:
        return words("audit.edition_first")
    return words(
        "audit.edition_restated", n=words.number(content.edition),
        before=words.number(content.edition - 1), day=words.day(content.made_on),
    )  # fmt: skip


def rate_text(words: Wording, share: float | None) -> str:
    """Return a share with one decimal, because rates are small."""
    return NOTHING if share is None else f"{words.number(100 * share, 1)}\N{NO-BREAK SPACE}%"
