"""What the reports of a store say: finished figures, and the sentences they share."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from pipeline.records import Inputs, Seal, Severity
from pipeline.report.store.asked import NO_NEEDS, StoreNeeds
from pipeline.report.store.followed import ChangeOutcome
from pipeline.report.store.next_door import NOBODY, Beside
from pipeline.report.store.scans import ScanAsked
from pipeline.tables.changes import LabelBehind
from pipeline.tables.exports import StationSeen
from pipeline.tables.survey import EdEvidence
from pipeline.tables.taken import InventoryItem
from pipeline.wording import Wording

CAUTIONS = ("ladders", "mains", "voids", "lone", "public", "radio", "defer")
READING = ("clear_air", "earshot", "bound", "parking")


@dataclass(frozen=True, slots=True)
class Store:
    """What the head of a report says of a store."""

    store: str
    name: str
    region: str
    country: str | None
    store_type: str | None
    time_zone: str | None
    last_seen_on: date
    unplanned: str | None


@dataclass(frozen=True, slots=True)
class PlannedStation(StationSeen):
    """A station as last exported and as planned; shares are 0..1, None if not known."""

    channel_planned: int | None
    clear_air_now: float | None
    clear_air_planned: float | None
    next_best_channel: int | None
    next_best_cost: float | None
    kept: float | None
    sureness: str | None
    reason: str | None
    labels: int
    weak_labels: int
    silent_labels: int
    lone_labels: int
    air_share: float
    weight: float
    housing: str | None = None  # the radios in the same housing
    housing_lone_labels: int = 0  # labels of them all that hear no station besides
    facts: str = ""  # of the reason, as `pipeline.reasons` keeps them

    @property
    def final_channel(self) -> int | None:
        """The channel once the plan is carried out; today's if nothing is planned."""
        return self.channel if self.channel_planned is None else self.channel_planned

    @property
    def called(self) -> str:
        """Its key with its name, if it has one."""
        return f"{self.station} · {self.name}" if self.name else self.station

    @property
    def to_install(self) -> bool:
        """Whether it is still to be installed."""
        return self.status == "planned"

    @property
    def moved(self) -> bool:
        """Whether the plan gives it another channel."""
        return self.final_channel != self.channel


@dataclass(frozen=True, slots=True)
class PlannedMove:
    """One step of the change plan."""

    store: str
    position: int
    station: str
    from_channel: int | None
    to_channel: int
    parking: bool
    clear_air_before: float | None
    clear_air_after: float | None
    reason: str  # in short, worded when gathered; the station has the evidence
    facts: str = ""  # of the reason, as `pipeline.reasons` keeps them
    starts_at: datetime | None = None  # of its night, in local time; None: no night yet
    ends_at: datetime | None = None
    provisional: bool = False  # not approved, or waits for an earlier wave
    minutes: float | None = None  # off the air

    @property
    def kind(self) -> str:
        """What it is: 'first', 'parking' or 'final'."""
        return _kind(self.from_channel, parking=self.parking)


def _kind(before: int | None, *, parking: bool) -> str:
    if before is None:
        return "first"
    return "parking" if parking else "final"


@dataclass(frozen=True, slots=True)
class PlanInForce:
    """The plan in force, as the register names it."""

    store: str
    plan: str
    proposed_on: date
    proposed_by: str | None  # None if it has no changes


@dataclass(frozen=True, slots=True)
class RegisteredChange:
    """A change of a plan, with the latest decision on it and the latest report of it."""

    store: str
    change: str
    position: int
    station: str
    from_channel: int | None
    to_channel: int
    parking: bool
    clear_air_before: float | None
    clear_air_before_low: float | None
    clear_air_before_high: float | None
    clear_air_after: float | None
    clear_air_after_low: float | None
    clear_air_after_high: float | None
    chance: float | None
    labels: int
    group_no: int | None  # those of one plan with the same number are one decision; None: alone
    facts: str  # of the reason, as `pipeline.reasons` keeps them; empty: not known
    other: int | None  # the channel ordered, where it is another than proposed
    refused_until: date | None
    state: str
    due: datetime | None  # when work starts, in local time
    decision: str | None
    decided_by: str | None
    decided_on: date | None
    decision_note: str | None
    carried_on: date | None  # the approval is an earlier plan's, of this day; None: it is not
    carried_in: str | None
    outcome: str | None
    done_by: str | None
    done_at: datetime | None
    done_note: str | None
    reason: str  # in short, worded when gathered
    pan_id: int | None = None  # of a first setting, as the two that follow
    tx_power_dbm: float | None = None
    name: str | None = None

    @property
    def kind(self) -> str:
        """What it is: 'first', 'parking' or 'final'."""
        return _kind(self.from_channel, parking=self.parking)

    @property
    def ordered_channel(self) -> int:
        """The channel to move to: the one ordered, else the one proposed."""
        return self.other or self.to_channel


@dataclass(frozen=True, slots=True)
class Refusal:
    """A refusal of a station's move, in any plan."""

    store: str
    station: str
    change: str
    to_channel: int
    refused_on: date
    refused_by: str
    refused_until: date | None
    note: str


@dataclass(frozen=True, slots=True)
class EarshotPair:
    """Two stations in earshot of each other; `hit` is the chance of a collision, 0..1."""

    store: str
    station: str
    neighbour: str
    hit: float
    heard_dbm: float


@dataclass(frozen=True, slots=True)
class LevelSource:
    """What is known of the levels at a station to be installed: measured, placed or guessed."""

    store: str
    station: str
    source: str


@dataclass(frozen=True, slots=True)
class WifiGroup:
    """The Wi-Fi networks of one channel and width."""

    store: str
    wifi_channel: int
    width_mhz: int
    secondary: str | None
    networks: int
    strongest_dbm: float | None
    utilisation_pct: float | None


@dataclass(frozen=True, slots=True)
class StoreFinding:
    """One thing a rule found: what the rule is called, a sentence, and the facts in it as JSON."""

    rule: str
    severity: Severity
    store: str
    subject: str
    detail: str
    excepted: str | None = None
    facts: str | None = None
    title: str = ""

    @property
    def place(self) -> str:
        """What its store's page names it by: the file of rows, nothing for the store itself."""
        if self.rule in ("rows-quarantined", "cells-unread"):
            return self.subject.partition(": ")[0]  # the sentence says the rest in words
        return "" if self.subject in ("store", "inventory") else self.subject


@dataclass(frozen=True, slots=True)
class PlanQuality:
    """How good the plan is proven to be, and how sure it is; costs are in units of the plan.

    The evidence was drawn anew `draws` times within its uncertainty. Against the best of each draw
    the plan lost `regret` of clear air a station (0..1) on average and `worst` at worst. `ask` is
    the measurement that would tell most. `unsettled` is the chance that much more data would change
    the plan by more than its price; None where it was not weighed.
    """

    store: str
    cost: float
    bound: float
    optimal: bool
    cost_now: float
    solver: str
    order_proven: bool
    draws: int = 0
    regret: float = 0.0
    worst: float = 0.0
    ask: str = ""
    unsettled: float | None = None


@dataclass(frozen=True, slots=True)
class Rated:
    """A figure and the station it belongs to."""

    station: str
    value: float


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """The store in numbers; clear air is 0..1, weighted by the labels a station serves.

    Stations still to be installed count apart; clear air is of those installed, unless none is.
    """

    stations: int
    to_install: int
    stations_moved: int
    steps: int
    parking_steps: int
    clear_air_now: float | None
    clear_air_planned: float | None
    weakest_now: Rated | None
    weakest_planned: Rated | None
    shared_now: tuple[EarshotPair, ...]
    shared_planned: tuple[EarshotPair, ...]
    findings: Mapping[Severity, int]
    excepted: int
    measured: int
    inferred: int
    absent: int
    own_traffic: int
    readings_median: float | None
    newest_scan: datetime | None
    sureness: Mapping[str, int]
    labels: int
    weak_labels: int
    silent_labels: int
    lone_labels: int

    @property
    def changes(self) -> bool:
        """Whether a channel changes, or a station is to be installed."""
        return bool(self.stations_moved or self.to_install)


@dataclass(frozen=True, slots=True)
class HeldStation:
    """A station that is kept on its channel: 'held' (by the rule `by`), 'refused' or 'settled'."""

    station: str
    why: str
    by: str | None
    since: date | None


@dataclass(frozen=True, slots=True)
class StoreSeal:
    """The seal of the register that took in the last entry of a store."""

    store: str
    size: int
    root: str
    as_of: date


@dataclass(frozen=True, slots=True)
class StoreInputs:
    """The files that told of a store, as `Inputs`."""

    store: str
    files: int
    digest: str


@dataclass(frozen=True, slots=True)
class StoreContent:
    """Everything one store's workbook and summary say."""

    store: Store
    stations: tuple[PlannedStation, ...]
    moves: tuple[PlannedMove, ...]
    air: tuple[EdEvidence, ...]
    findings: tuple[StoreFinding, ...]
    pairs: tuple[EarshotPair, ...]
    wifi: tuple[WifiGroup, ...]
    proof: PlanQuality | None
    permitted: tuple[int, ...]
    figures: KeyFigures
    plan: PlanInForce | None = None
    changes: tuple[RegisteredChange, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    held: tuple[HeldStation, ...] = ()
    levels: tuple[LevelSource, ...] = ()
    approvers: tuple[str, ...] = ()
    seal: Seal | None = None
    outcomes: tuple[ChangeOutcome, ...] = ()
    behind: tuple[LabelBehind, ...] = ()
    found: tuple[InventoryItem, ...] = ()
    neighbours: Beside = NOBODY
    inputs: Inputs | None = None
    scans: tuple[ScanAsked, ...] = ()
    asked: StoreNeeds = NO_NEEDS

    @property
    def unsettled(self) -> float | None:
        """The chance that more data would change the plan; None where it was not weighed."""
        return None if self.proof is None else self.proof.unsettled


@dataclass(frozen=True, slots=True)
class Document:
    """What every page of a summary needs: content, language, short names, further pages.

    `pages` holds the number of the page on which each list goes on.
    """

    content: StoreContent
    words: Wording
    names: Mapping[str, str]
    pages: Mapping[str, int] = field(default_factory=dict)

    def called(self, station: str) -> str:
        """Return a station's full name, after its short one if that is no part of it."""
        short = self.names.get(station, station)
        return station if short in station else f"{short} · {station}"
