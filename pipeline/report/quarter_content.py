"""The records a quarter's audit is laid out from."""

from dataclasses import dataclass
from datetime import date, timedelta

_MONTHS = 3


@dataclass(frozen=True, slots=True)
class Trend:
    """A quarter in figures; `region` None: the whole portfolio.

    `astray` counts the stations that are not as agreed with nobody's approval, `begun` those of
    them with something first seen in the quarter. Findings are None where no run speaks of them.
    """

    quarter: str
    region: str | None
    stores: int
    covered: int
    stations: int
    astray: int
    begun: int
    approved: int
    deviations: int
    reverted: int
    clear_air: float | None
    opened: int | None
    closed: int | None
    findings: int | None

    @property
    def rate(self) -> float | None:
        """The share of audited stations that are astray; None: none was audited."""
        return self.astray / self.stations if self.stations else None

    @property
    def coverage(self) -> float:
        """The share of stores that an export speaks of."""
        return self.covered / self.stores if self.stores else 0.0


@dataclass(frozen=True, slots=True)
class KindCount:
    """Departures of one kind, and those first seen in the quarter."""

    kind: str
    departures: int
    begun: int


@dataclass(frozen=True, slots=True)
class TypeRate:
    """A store type: stations audited, and those astray."""

    store_type: str
    stations: int
    astray: int


@dataclass(frozen=True, slots=True)
class FieldCount:
    """What went astray, by field."""

    field: str
    departures: int
    begun: int


@dataclass(frozen=True, slots=True)
class Repeated:
    """A store in which something went astray in several of the last four quarters."""

    store: str
    name: str
    region: str
    quarters: int
    departures: int


@dataclass(frozen=True, slots=True)
class StateCount:
    """Changes in a state at the end of the quarter, and those that came to it in the quarter."""

    state: str
    changes: int
    entered: int


@dataclass(frozen=True, slots=True)
class Measured:
    """Promised against measured clear air of one change, 0..1."""

    store: str
    station: str
    change: str
    sureness: str
    was: float
    promised: float
    measured: float
    readings: int
    checked_on: date


@dataclass(frozen=True, slots=True)
class RuleCount:
    """Findings of one rule."""

    rule: str
    severity: str
    opened: int
    closed: int
    standing: int
    title: str = ""


@dataclass(frozen=True, slots=True)
class Difference:
    """One departure; `open`: nobody approved it."""

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
    open: bool


@dataclass(frozen=True, slots=True)
class Audited:
    """A store of the quarter, and what speaks of it."""

    store: str
    name: str
    region: str
    store_type: str
    exports: int
    last_export: date | None
    stations: int
    version: int | None
    agreed_on: date | None
    scan_days: int


@dataclass(frozen=True, slots=True)
class QuarterContent:
    """Everything a quarter's audit says.

    `edition` None: the quarter is not over, and `made_on` is the day up to which it speaks. A first
    edition says nothing of the day it was made, so that it is the same whenever it is made.
    """

    quarter: str
    edition: int | None
    made_on: date | None
    trend: tuple[Trend, ...]  # the whole portfolio, quarter by quarter, this one last
    regions: tuple[tuple[Trend, Trend | None], ...]  # this quarter, and the one before
    kinds: tuple[KindCount, ...]
    types: tuple[TypeRate, ...]
    fields: tuple[FieldCount, ...]
    repeated: tuple[Repeated, ...]
    states: tuple[StateCount, ...]
    measured: tuple[Measured, ...]
    rules: tuple[RuleCount, ...]
    differences: tuple[Difference, ...]
    stores: tuple[Audited, ...]

    @property
    def now(self) -> Trend:
        """The whole portfolio in this quarter."""
        return self.trend[-1]

    @property
    def before(self) -> Trend | None:
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
    def to_act_on(self) -> tuple[Difference, ...]:
        """What nobody approved."""
        return tuple(one for one in self.differences if one.open)

    @property
    def uncovered(self) -> tuple[Audited, ...]:
        """The stores no export of the quarter speaks of."""
        return tuple(store for store in self.stores if not store.exports)

    @property
    def without_baseline(self) -> tuple[Audited, ...]:
        """The stores audited of which nothing is agreed."""
        return tuple(s for s in self.stores if s.exports and s.version is None)
