"""Frozen records that steps hand to one another; records as frames and in groups."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from enum import StrEnum
from functools import cache
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from types import NoneType
from typing import Any, TypeVar, get_args, get_type_hints

import polars as pl

from pipeline.tables.taken import ExportFile

Record = TypeVar("Record")
_COLUMN: dict[Any, type[pl.DataType]] = {
    bool: pl.Boolean,
    bytes: pl.Binary,
    date: pl.Date,
    datetime: pl.Datetime,
    float: pl.Float64,
    int: pl.Int64,
    str: pl.String,
}


def frame_of(kind: type[Any], records: Iterable[Any]) -> pl.DataFrame:
    """Return the records as a frame; it has its columns even where there are no records.

    `kind` is a dataclass whose fields are bool, bytes, date, datetime, float, int or str, or one of
    these or None.
    """
    schema = _schema(kind)  # type: ignore[arg-type] # a class can be hashed
    rows = [tuple(getattr(record, name) for name in schema) for record in records]
    return pl.DataFrame(rows, schema=schema, orient="row")


@cache
def _schema(kind: type[Any]) -> Mapping[str, type[pl.DataType]]:
    hints = get_type_hints(kind)
    return {field.name: _column(hints[field.name]) for field in fields(kind)}


def _column(hint: Any) -> type[pl.DataType]:  # noqa: ANN401 - a type hint may be anything
    options = [option for option in get_args(hint) if option is not NoneType]
    return _COLUMN[options[0] if options else hint]


def grouped(records: Iterable[Record], name: str) -> Mapping[str, Sequence[Record]]:
    """Return records by the value of a field by which they are sorted."""
    return {key: list(group) for key, group in groupby(records, key=attrgetter(name))}


class Severity(StrEnum):
    """How much a finding matters, gravest first."""

    STOP = "stop"
    FIX = "fix"
    WATCH = "watch"
    NOTE = "note"

    @property
    def meaning(self) -> str:
        """What it asks of a reader, in English."""
        meanings = ("must not go on", "needs a change", "look at it", "for the record")
        return dict(zip(Severity, meanings, strict=True))[self]


OFF_AIR = 0
"""Stands for the channel of a station that is not on the air: nobody hears it, whatever theirs."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """What a page was made from: how many files, and the digest of their digests.

    The SHA-256 of the files' SHA-256, in ascending order, a line feed between them.
    """

    files: int
    digest: str  # 64 hexadecimal digits


@dataclass(frozen=True, slots=True)
class Seal:
    """A seal of the register, to be printed: over how many entries, its root, and its day."""

    size: int
    root: str  # 64 hexadecimal digits
    as_of: date

    @property
    def whole(self) -> str:
        """The seal as a workbook has it."""
        return f"{self.size}:{self.root}"

    @property
    def short(self) -> str:
        """The seal as a page has it: enough of the root that no other register begins so."""
        return f"{self.size}:{self.root[:16]}"


@dataclass(frozen=True, slots=True)
class StoreStation:
    """A station as the plan sees it: today's channel, and the channels it may use, ascending.

    The channel of a station that is still to be installed is `OFF_AIR`.
    """

    station: str
    channel: int
    choices: tuple[int, ...]
    weight: float
    air_share: float


@dataclass(frozen=True, slots=True)
class Heard:
    """The chance that `neighbour` disturbs `station`, by distance in channels: 0, 1 and 2."""

    station: str
    neighbour: str
    hit: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class OrderPrice:
    """What a choice of channels in a store is worth against another; shares are 0..1.

    `gained` is the difference of the store's clear air, averaged by the labels stations serve.
    `air` has the clear air of each station with its 5 and 95 % points; those whose channel nothing
    is known of are left out.
    """

    gained: float
    air: Mapping[str, tuple[float, float, float]]


@dataclass(frozen=True, slots=True)
class Selection:
    """The stores and regions a command is about; both empty means all of them."""

    stores: tuple[str, ...] = ()
    regions: tuple[str, ...] = ()

    def takes(self, store: str, region: str) -> bool:
        """Tell whether a store is meant: named itself, or through its region."""
        return not (self.stores or self.regions) or store in self.stores or region in self.regions


@dataclass(frozen=True, slots=True)
class BackOutStep:
    """One step of the way back to how a store was before."""

    store: str
    position: int
    change: str
    plan: str
    station: str
    from_channel: int | None
    to_channel: int | None  # None: off the air, for it had no channel before
    parking: bool  # a step on the way, not where the station ends


@dataclass(frozen=True, slots=True)
class Written:
    """The files written for one store."""

    store: str
    name: str
    region: str
    workbook: Path
    summary: Path


@dataclass(frozen=True, slots=True)
class StorePlace:
    """A store of this run, with what decides its permitted channels."""

    store: str
    region: str
    store_type: str | None


@dataclass(frozen=True, slots=True)
class LeftAside:
    """The headings of an export that no heading table knows."""

    file: str
    headings: str


@dataclass(frozen=True, slots=True)
class KeysTaken:
    """How many stores or stations (`kind`) one kind of export names otherwise than the lists do.

    `way` is what their keys differ in, or the kind of address written in their place.
    """

    source: str
    kind: str
    way: str
    keys: int
    rows: int


@dataclass(frozen=True, slots=True)
class KeysLeft:
    """How many stores and stations exports name that match no listed one."""

    stores: int = 0
    stations: int = 0


@dataclass(frozen=True, slots=True)
class NewKey:
    """A store, or a station of one, that no earlier run met, and what it may have been before."""

    store: str
    station: str | None
    likely: str | None


@dataclass(frozen=True, slots=True)
class RunSummary:
    """What a run came to. Clear air is a mean over stations, by labels, 0..1."""

    run: str
    as_of: date
    stores: int
    stations: int
    to_install: int  # stations beside these
    excepted: int  # findings that an approved exception covers
    moves: int
    stores_with_moves: int
    clear_air_now: float | None
    clear_air_planned: float | None
    unknown: int  # stations of which one of the two is not known
    findings: Mapping[Severity, int]
    unplanned: Mapping[str, str]  # by store, why it has no plan
    left_aside: tuple[LeftAside, ...]
    keys_taken: tuple[KeysTaken, ...]
    keys_left: KeysLeft
    new_keys: tuple[NewKey, ...]
    out: Path
    database: Path
    outcomes: tuple[ExportFile, ...] = ()
    written: tuple[Written, ...] = ()
    unwritten: tuple[tuple[str, str], ...] = ()  # store or region, and why
    reviews: tuple[Path, ...] = ()
    quarantine: Path | None = None
    rules_kept: bool = False  # no rules file came with the exports: those of the run before hold


@dataclass(frozen=True, slots=True)
class WorkbookRefusal:
    """Something in a workbook that was not taken, where it stands, and what to do."""

    workbook: str
    store: str | None
    sheet: str | None
    cell: str | None
    sentence: str

    def __str__(self) -> str:
        """Return the refusal as one line."""
        named = (("store", self.store), ("sheet", self.sheet), ("cell", self.cell))
        place = ", ".join(f"{word} {value}" for word, value in named if value)
        return f"{self.workbook}: {place}{': ' if place else ''}{self.sentence}"
