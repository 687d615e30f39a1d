"""Records of the schedule step. Times are UTC, evenings are days on the store's own clock."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from pipeline.tables.changes import (
    ScheduleProof,
    ScheduleRemark,
    UnscheduledStore,
    WaveDraw,
    WorkNight,
)


@dataclass(frozen=True, slots=True)
class StoreJob:
    """A store and its work: all the moves it still has to make; None is what no export says."""

    store: str
    region: str
    store_type: str | None
    country: str | None  # ISO 3166-1 alpha-2
    time_zone: str | None  # tz database
    opens: time | None  # trading hours on the store's own clock, every day of the week
    closes: time | None  # at or before `opens`: on the next day
    positions: Sequence[int] = ()  # of the moves in the store's plan, in the order to make them
    benefit: float = 0.0  # labels that find a free channel at any moment, after less before
    wave: str | None = None  # the wave an earlier run put it in for certain
    groups: Sequence[str] = ()  # at most one store of a group is worked on in a night
    undecided: Sequence[int] = ()  # positions of moves that nobody has approved yet
    urgent: bool = False  # one of them settles what must not go on
    alone: Sequence[int] = ()  # positions of moves that have a night of their own
    place: float = 0.0  # among those drawn, 0..1; the same for all: they go by benefit
    ticket: WaveDraw | None = None  # None: its night goes by benefit
    fresh: Sequence[int] = ()  # positions of first settings: their stations are installed

    @property
    def moves(self) -> int:
        """How many moves there are to make."""
        return len(self.positions)

    @property
    def installs(self) -> list[bool]:
        """Whether each move is that of a station to be installed, in the order to make them."""
        return [position in self.fresh for position in self.positions]

    def together(self, done: int, most: int) -> int:
        """Return how many moves after the first `done` may share a night that has time for some."""
        left = self.positions[done : done + most]
        upto = next((n for n, position in enumerate(left) if position in self.alone), len(left))
        return upto or min(1, len(left))


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
class Schedule:
    """Every store placed or unplaced; benefit and bound are as `ScheduleProof` has them."""

    placed: tuple[WorkNight, ...]
    unplaced: tuple[UnscheduledStore, ...]
    proofs: tuple[ScheduleProof, ...]
    remarks: tuple[ScheduleRemark, ...]

    @property
    def benefit(self) -> float:
        """What the schedule is worth."""
        return sum(proof.benefit for proof in self.proofs)

    @property
    def bound(self) -> float:
        """What no schedule can exceed."""
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
class Piece:
    """One night's piece of a store's work; minutes since the epoch, UTC."""

    day: int  # days from the first night
    minutes: int
    opens: int
    closes: int


@dataclass(frozen=True, slots=True)
class Slot:
    """A way to do a store's work: in these nights, one after the other."""

    pieces: tuple[Piece, ...]
    value: int  # benefit units times days of benefit

    @property
    def first_day(self) -> int:
        """The night on which work begins."""
        return self.pieces[0].day

    @property
    def last_day(self) -> int:
        """The night on which the store is done."""
        return self.pieces[-1].day


@dataclass(frozen=True, slots=True)
class Task:
    """A store's work as the solver sees it."""

    store: str
    region: str
    wave: int
    units: int  # benefit in hundredths of a label, at least 1, or the weight of its turn
    groups: tuple[str, ...]
    slots: tuple[Slot, ...]


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
