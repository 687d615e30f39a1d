"""What a region's stores want besides changes: scans, stations ordered, Wi-Fi asked for."""

from dataclasses import dataclass
from datetime import date

from pipeline.tables.plan import CoverPlace, WifiRequest


@dataclass(frozen=True, slots=True)
class StoreToScan:
    """A store whose decision more scans would settle.

    Visits are days on which all its stations to scan are scanned; `worth` is what one of them is
    expected to gain, in clear air of a station of average size, 0..1. `so_far` are the visits of
    the list up to and with it. The hours are those in which its stations were scanned least;
    `quiet`: an own station disturbs a scan unless it is quiet meanwhile.
    """

    region: str
    store: str
    name: str
    unsettled: float
    worth: float
    visits: int
    stations: int
    hour_from: int
    hour_until: int
    quiet: bool
    next_night: date | None
    so_far: int

    @property
    def points(self) -> float:
        """What a visit is expected to gain, in points of clear air."""
        return 100 * self.worth

    @property
    def hours(self) -> str:
        """The hours to scan in, on the store's clock."""
        return f"{self.hour_from:02}:00-{self.hour_until:02}:00"


@dataclass(frozen=True, slots=True)
class ToOrder(CoverPlace):
    """A place of a store of the region where to order a station, or to measure first."""

    region: str
    name: str


@dataclass(frozen=True, slots=True)
class ToAsk(WifiRequest):
    """A change of Wi-Fi to ask for in a store of the region."""

    region: str
    name: str
