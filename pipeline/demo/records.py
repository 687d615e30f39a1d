"""Records of the invented chain: what stands in its stores, and what exports say about it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import StrEnum
from typing import Any

Level = int | str | None  # dBm; a text where the exporting system wrote one; None: cell left empty
Cell = str | int | float | bool | date | time | datetime | None


@dataclass(frozen=True, slots=True)
class Region:
    """A region and what holds for all its stores."""

    name: str
    country: str  # ISO 3166-1 alpha-2
    time_zone: str
    permitted: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class DemoStore:
    """A store before anything hangs in it: its size and what it needs."""

    store: str
    name: str
    region: Region
    store_type: str
    width_m: float
    depth_m: float
    floors: int
    stations: int
    labels: int
    wifi_channels: tuple[int, ...]  # one access point of its own on each
    listens_on: tuple[int, ...]
    opens: time
    closes: time
    measures_neighbours: bool  # whether its stations export station-to-station levels


@dataclass(frozen=True, slots=True)
class AccessPoint:
    """A Wi-Fi transmitter in or beside the store."""

    network: str
    floor: int
    x_m: float
    y_m: float
    wifi_channel: int
    width_mhz: int
    secondary: str | None
    power_dbm: float
    utilisation_pct: float


@dataclass(frozen=True, slots=True)
class ExportedStation:
    """A base station's row in a stations export, addresses as the export writes them."""

    store: str
    station: str
    seen_on: date
    name: str
    mounted: str
    floor: int | None
    x_m: float | None
    y_m: float | None
    channel: int
    pan_id: int
    tx_power_dbm: float
    eui64: str
    ip_address: str
    port: int
    firmware: str
    hardware: str
    connected: bool

    @property
    def pan_id_hex(self) -> str:
        """The PAN ID as most systems write it."""
        return f"0x{self.pan_id:04X}"


@dataclass(frozen=True, slots=True)
class DemoSite:
    """A store with its stations and the Wi-Fi around them, before anything is measured."""

    plan: DemoStore
    stations: tuple[ExportedStation, ...]
    access_points: tuple[AccessPoint, ...]


@dataclass(frozen=True, slots=True)
class ExportedStore:
    """A store's row in a stores export."""

    plan: DemoStore
    seen_on: date

    @property
    def store(self) -> str:
        """The store's number."""
        return self.plan.store


@dataclass(frozen=True, slots=True)
class Scan:
    """One ED scan: a level for each of the channels 11 to 26."""

    store: str
    station: str
    seen_on: date
    scanned_at: datetime  # on the store's own clock
    levels: tuple[Level, ...]
    own_quiet: bool


@dataclass(frozen=True, slots=True)
class Label:
    """A shelf label's row in a labels export."""

    store: str
    label: str
    seen_on: date
    station: str
    level_dbm: int
    stations_heard: int
    success_pct: float
    last_heard_on: date
    updates_per_day: int
    payload_octets: int
    listens_on: str  # channels with a space between

    @property
    def updates_sent(self) -> int:
        """The updates sent to it in a week, which its share is of."""
        return 7 * self.updates_per_day

    @property
    def updates_acknowledged(self) -> int:
        """Those of them that it acknowledged."""
        return round(self.updates_sent * self.success_pct / 100)


@dataclass(frozen=True, slots=True)
class WifiHeard:
    """A Wi-Fi network as heard at a station."""

    store: str
    station: str
    seen_on: date
    network: str
    wifi_channel: int
    width_mhz: int
    secondary: str | None
    level_dbm: int
    utilisation_pct: float


@dataclass(frozen=True, slots=True)
class StationHeard:
    """One station as heard at another."""

    store: str
    station: str
    neighbour: str
    seen_on: date
    level_dbm: int


@dataclass(frozen=True, slots=True)
class HeardNextDoor:
    """One station as heard at another, of the store next door."""

    store: str
    station: str
    neighbour_store: str
    neighbour: str
    level_dbm: int


@dataclass(frozen=True, slots=True)
class ChainSeen:
    """Everything the exports of a chain say."""

    seed: int
    stores: tuple[ExportedStore, ...]
    stations: tuple[ExportedStation, ...]
    scans: tuple[Scan, ...]
    labels: tuple[Label, ...]
    wifi: tuple[WifiHeard, ...]
    heard: tuple[StationHeard, ...]


@dataclass(frozen=True, slots=True)
class TextFormat:
    """How a source system writes its text files."""

    encoding: str
    delimiter: str
    line_end: str
    decimal_mark: str
    date_format: str
    moment_format: str
    yes: str
    no: str


@dataclass(frozen=True, slots=True)
class ExportTable:
    """A table as one source system exports it.

    `path` is below the exports folder; a member of a zip follows '!', a sheet of a workbook '#'.
    """

    path: str
    written: TextFormat
    title: tuple[str, ...]
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


class Outcome(StrEnum):
    """What must come of a fault."""

    FOUND = "found"  # by every rule named
    EXCEPTED = "excepted"  # found by the rule named, and excepted
    QUARANTINED = "quarantined"  # its rows, for the problem named first; a rule tells of it
    REPEATED = "repeated"  # the file named as subject adds no row; nothing is raised


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong on purpose, what must come of it, and the edits that make it.

    A fault without edits follows from another one. `faults.toml` explains the edits.
    """

    name: str
    store: str
    subject: str
    what: str
    outcome: Outcome
    raises: tuple[str, ...]
    edits: tuple[Mapping[str, Any], ...]
