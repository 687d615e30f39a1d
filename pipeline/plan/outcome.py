"""What the plan step gives: frozen records, one table each."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StationPlan:
    """What the plan says of one station; shares 0..1, costs in units of the plan."""

    store: str
    station: str
    channel_now: int
    channel_planned: int
    clear_air_now: float
    clear_air_planned: float
    busy_now: float
    busy_planned: float
    source_planned: str
    next_best_channel: int | None
    next_best_cost: float | None
    sureness: str
    reason: str
    facts: str


@dataclass(frozen=True, slots=True)
class Move:
    """One channel change; a parking step is one on the way, not the final channel."""

    store: str
    station: str
    from_channel: int
    to_channel: int
    position: int
    parking: bool
    clear_air_before: float
    clear_air_after: float
    reason: str
    facts: str


@dataclass(frozen=True, slots=True)
class Proof:
    """How good the plan is proven to be, in units of the plan."""

    store: str
    cost: float
    bound: float
    optimal: bool
    cost_now: float
    solver: str
    order_proven: bool
    worst_step: float


@dataclass(frozen=True, slots=True)
class StorePlan:
    """Everything the plan says of one store."""

    stations: tuple[StationPlan, ...]
    moves: tuple[Move, ...]
    proof: Proof


@dataclass(frozen=True, slots=True)
class Unplanned:
    """A store for which no plan can be made, and why."""

    store: str
    reason: str
