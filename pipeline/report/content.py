"""The records a store's report is laid out from: finished figures, nothing left to calculate."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from pipeline.records import Finding, Severity


@dataclass(frozen=True, slots=True)
class Store:
    """What the head of a report says of the store."""

    store: str
    name: str
    region: str
    country: str | None
    store_type: str | None
    time_zone: str | None
    last_seen_on: date
    unplanned: str | None


@dataclass(frozen=True, slots=True)
class Station:
    """One station today and as planned. Clear air and busy shares are 0..1; None: not known."""

    station: str
    name: str | None
    mounted: str | None
    floor: int | None
    x_m: float | None
    y_m: float | None
    channel: int | None
    pan_id: int | None
    tx_power_dbm: float | None
    eui64: str | None
    ip_address: str | None
    port: int | None
    firmware: str | None
    hardware: str | None
    connected: bool | None
    channel_planned: int | None
    clear_air_now: float | None
    clear_air_planned: float | None
    busy_now: float | None
    busy_planned: float | None
    source_planned: str | None
    next_best_channel: int | None
    sureness: str | None
    reason: str | None
    labels: int
    weak_labels: int
    silent_labels: int
    lone_labels: int
    air_share: float
    weight: float
    facts: str = ""  # the reason in figures, to be worded in the store's language

    @property
    def final_channel(self) -> int | None:
        """The channel it has once the plan is done: today's where nothing is planned."""
        return self.channel if self.channel_planned is None else self.channel_planned

    @property
    def moved(self) -> bool:
        """Whether the plan gives it another channel."""
        return self.final_channel != self.channel


@dataclass(frozen=True, slots=True)
class Move:
    """One step of the change plan."""

    position: int
    station: str
    from_channel: int
    to_channel: int
    parking: bool
    clear_air_before: float
    clear_air_after: float
    reason: str
    facts: str = ""  # the reason in figures, to be worded in the store's language
    starts_at: datetime | None = None  # of its night, on the store's own clock; None: no night yet
    ends_at: datetime | None = None
    provisional: bool = False  # the night waits for an earlier wave
    minutes: float | None = None  # off the air


@dataclass(frozen=True, slots=True)
class Plan:
    """The plan in force as the register names it."""

    plan: str
    proposed_on: date
    proposed_by: str | None  # None: a plan without changes


@dataclass(frozen=True, slots=True)
class Change:
    """A change of a plan, and what people decided on it and reported of it last."""

    change: str
    position: int
    station: str
    from_channel: int
    to_channel: int
    parking: bool
    clear_air_before: float
    clear_air_after: float
    state: str
    due: datetime | None  # when work starts, on the store's own clock
    decision: str | None
    decided_by: str | None
    decided_on: date | None
    decision_note: str | None
    outcome: str | None
    done_by: str | None
    done_at: datetime | None
    done_note: str | None


@dataclass(frozen=True, slots=True)
class Air:
    """How busy one channel is at one station, 0..1, and where the figure comes from.

    `worth` is what the readings count as, in fresh ones of trading hours.
    """

    station: str
    channel: int
    readings: int
    worth: float
    busy_share: float | None
    busy_bound: float
    mean_dbm: float | None
    p50_dbm: float | None
    p90_dbm: float | None
    p99_dbm: float | None
    own_traffic: bool
    source: str
    newest_at: datetime | None
    basis: str


@dataclass(frozen=True, slots=True)
class Pair:
    """Two stations in earshot of each other; `hit` is the chance of a disturbance, 0..1."""

    station: str
    neighbour: str
    hit: float
    heard_dbm: float


@dataclass(frozen=True, slots=True)
class Wifi:
    """The Wi-Fi networks of one channel and width."""

    wifi_channel: int
    width_mhz: int
    secondary: str | None
    networks: int
    strongest_dbm: float | None
    utilisation_pct: float | None


@dataclass(frozen=True, slots=True)
class Proof:
    """How good the plan is proven to be, and how sure it is; costs in units of the plan.

    Of `draws` of the evidence within its doubt the plan was the best in `wins`; in the mean it
    lost `regret` of clear air a station (0..1); `ask` is the measurement that would tell most.
    """

    cost: float
    bound: float
    optimal: bool
    cost_now: float
    solver: str
    order_proven: bool
    worst_step: float
    draws: int = 0
    wins: int = 0
    regret: float = 0.0
    ask: str = ""


@dataclass(frozen=True, slots=True)
class Rated:
    """A figure with the station it belongs to."""

    station: str
    value: float


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """The store in numbers. Clear air is 0..1, weighted by the labels a station serves."""

    stations: int
    stations_moved: int
    steps: int
    parking_steps: int
    clear_air_now: float | None
    clear_air_planned: float | None
    weakest_now: Rated | None
    weakest_planned: Rated | None
    shared_now: tuple[Pair, ...]
    shared_planned: tuple[Pair, ...]
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


@dataclass(frozen=True, slots=True)
class StoreContent:
    """Everything one store's workbook and summary say."""

    store: Store
    stations: tuple[Station, ...]
    moves: tuple[Move, ...]
    air: tuple[Air, ...]
    findings: tuple[Finding, ...]
    pairs: tuple[Pair, ...]
    wifi: tuple[Wifi, ...]
    proof: Proof | None
    permitted: tuple[int, ...]
    figures: KeyFigures
    plan: Plan | None = None
    changes: tuple[Change, ...] = ()
    approvers: tuple[str, ...] = ()
