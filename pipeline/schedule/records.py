"""Records of the schedule step. Times are UTC, evenings are days on the store's own clock."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time


@dataclass(frozen=True, slots=True)
class Site:
    """A store as the schedule sees it; None is what no export says."""

    store: str
    region: str
    store_type: str | None
    country: str | None  # ISO 3166-1 alpha-2
    time_zone: str | None  # tz database
    opens: time | None  # trading hours on the store's own clock, every day of the week
    closes: time | None  # at or before `opens`: on the next day


@dataclass(frozen=True, slots=True)
class StoreJob:
    """The work at one store: all its moves."""

    site: Site
    moves: int
    benefit: float  # labels that find a free channel at any moment, after less before
    groups: tuple[str, ...] = ()  # at most one store of a group is worked on in a night
    wave: str | None = None  # the one it was put in for certain before


@dataclass(frozen=True, slots=True)
class Night:
    """One night of a store: the longest stretch in which work may be done, or why there is none."""

    evening: date
    opens: datetime
    closes: datetime
    stopped_by: str | None

    @property
    def minutes(self) -> int:
        """The stretch in whole minutes; 0 where the night is closed."""
        if self.stopped_by is not None:
            return 0
        return int((self.closes - self.opens).total_seconds() // 60)


@dataclass(frozen=True, slots=True)
class WaveResult:
    """What became of a region's wave so far."""

    region: str
    wave: str
    stores: int  # whose changes were carried out
    verified: int  # of these


@dataclass(frozen=True, slots=True)
class Placement:
    """One night's work at one store; a store whose moves need several nights has several."""

    store: str
    region: str
    evening: date
    starts_at: datetime
    ends_at: datetime
    team: str
    wave: str
    provisional: bool  # waits for an earlier wave to be verified
    first_move: int  # positions in the store's order of moves, both included
    last_move: int


@dataclass(frozen=True, slots=True)
class Unscheduled:
    """A store that could not be placed, and the constraint that stops it, as one sentence."""

    store: str
    wave: str | None  # None where it has no night at all, whatever other stores do
    reason: str


@dataclass(frozen=True, slots=True)
class Remark:
    """What the schedule of a store could not take into account, as one sentence."""

    store: str
    remark: str


@dataclass(frozen=True, slots=True)
class AreaProof:
    """How good the schedule of one region is; regions tied by shared groups are proven together.

    Benefit and bound are in label-days: labels that find a free channel at any moment, times days.
    """

    area: str
    benefit: float
    bound: float  # no schedule that keeps to every constraint is worth more
    optimal: bool


@dataclass(frozen=True, slots=True)
class Schedule:
    """Every store placed or unplaced."""

    placed: tuple[Placement, ...]
    unplaced: tuple[Unscheduled, ...]
    proofs: tuple[AreaProof, ...]
    remarks: tuple[Remark, ...]

    @property
    def benefit(self) -> float:
        """What the schedule is worth, in label-days."""
        return sum(proof.benefit for proof in self.proofs)

    @property
    def bound(self) -> float:
        """What no schedule can exceed, in label-days."""
        return sum(proof.bound for proof in self.proofs)

    @property
    def optimal(self) -> bool:
        """Whether every region's schedule is proven best."""
        return all(proof.optimal for proof in self.proofs)


@dataclass(frozen=True, slots=True)
class Shift:
    """A team's room in one night."""

    team: str
    jobs: int
    minutes: int  # at stores and between them


@dataclass(frozen=True, slots=True)
class Part:
    """One night's work of an option; minutes since the epoch, UTC."""

    day: int  # days from the first night
    minutes: int
    opens: int
    closes: int


@dataclass(frozen=True, slots=True)
class Option:
    """A way to do a store's job: on these nights, one after the other."""

    parts: tuple[Part, ...]
    value: int  # benefit units times days of benefit

    @property
    def first_day(self) -> int:
        """The night on which work begins."""
        return self.parts[0].day

    @property
    def last_day(self) -> int:
        """The night on which the store is done."""
        return self.parts[-1].day


@dataclass(frozen=True, slots=True)
class Task:
    """A store's job as the solver sees it."""

    store: str
    region: str
    wave: int
    units: int  # benefit in hundredths of a label, at least 1
    groups: tuple[str, ...]
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Gate:
    """What a wave must reach before the next one opens."""

    need: int  # further stores of this wave to be done
    wait_days: int


@dataclass(frozen=True, slots=True)
class Area:
    """One problem for the solver: the tasks of a region, or of regions tied by shared groups."""

    name: str
    tasks: tuple[Task, ...]
    shifts: Mapping[tuple[str, int], tuple[Shift, ...]]  # by region and day
    gates: Mapping[str, tuple[Gate, ...]]  # by region: the gate of every wave but the last
    travel: int  # minutes of a team between two stores
