"""What an auditor's samples of stations showed, as reports tell it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from math import ceil
from operator import attrgetter

from pipeline.database import Database
from pipeline.estimate.sampling import SURE, most_astray_of_all
from pipeline.report.kit.column import Look, SheetColumn
from pipeline.wording import Wording


@dataclass(frozen=True, slots=True)
class StationDrawn:
    """A station drawn, and what the auditor said of it; `as_agreed` None: not looked at yet."""

    sample: str
    drawn_on: date
    seed: str
    stations: int
    region: str
    region_stations: int
    number: int
    as_agreed: bool | None


@dataclass(frozen=True, slots=True)
class SampleOutcome:
    """What a sample showed: of how many stations, and how many of all may be astray at most.

    `bound` is of those looked at, `worst` counts those not looked at as not as agreed.
    """

    sample: str
    drawn_on: date
    seed: str
    stations: int
    drawn: int
    looked_at: int
    astray: int
    bound: float
    worst: float


def sample_outcomes(database: Database, first: date, last: date) -> tuple[SampleOutcome, ...]:
    """Return what the samples showed that were looked at between two days, by the last of them."""
    asked = {"first": first, "last": last}
    rows = database.records(StationDrawn, "report", "sample_rows", asked)
    return tuple(_outcome(list(group)) for _, group in groupby(rows, attrgetter("sample")))


def _outcome(rows: Sequence[StationDrawn]) -> SampleOutcome:
    one = rows[0]
    regions = Counter(row.region for row in rows)
    sizes = {row.region: row.region_stations for row in rows}
    unseen = one.stations - sum(sizes.values())  # of regions of which none was drawn
    looked = Counter(row.region for row in rows if row.as_agreed is not None)
    astray = sum(row.as_agreed is False for row in rows)
    missing = len(rows) - looked.total()

    def most(deviations: int, seen: Mapping[str, int]) -> float:
        counts = [(size, seen.get(region, 0)) for region, size in sizes.items()]
        return most_astray_of_all(deviations, [*counts, *([(unseen, 0)] if unseen else [])])

    return SampleOutcome(
        one.sample, one.drawn_on, one.seed, one.stations, len(rows), looked.total(), astray,
        most(astray, looked), most(astray + missing, regions),
    )  # fmt: skip


def outcome_sentence(one: SampleOutcome, words: Wording) -> str:
    """Return what a sample showed, in a sentence or two."""
    numbers = {
        name: words.number(getattr(one, name))
        for name in ("stations", "drawn", "looked_at", "astray")
    }
    sure, bounds = words.percent(SURE), {"bound": _share(one.bound, words)}
    said = words("sample.told", sample=one.sample, sure=sure, **numbers, **bounds)
    if one.looked_at < one.drawn:
        said += " " + words("sample.missing", worst=_share(one.worst, words))
    return said


def _share(bound: float, words: Wording) -> str:
    """Return a bound with one decimal, rounded up: it is never less than worked out."""
    return words("sample.share", share=words.number(ceil(1000 * bound - 1e-9) / 10, 1))


SAMPLES: tuple[SheetColumn[SampleOutcome], ...] = (
    SheetColumn("sample", Look.TEXT, "sample.column_sample"),
    SheetColumn("drawn_on", Look.DAY, "sample.column_drawn_on"),
    SheetColumn("seed", Look.TEXT, "sample.column_seed"),
    SheetColumn("stations", Look.COUNT, "sample.column_stations"),
    SheetColumn("drawn", Look.COUNT, "sample.column_drawn"),
    SheetColumn("looked_at", Look.COUNT, "sample.column_looked_at"),
    SheetColumn("astray", Look.COUNT, "sample.column_astray"),
    SheetColumn(lambda one, words: _share(one.bound, words), Look.TEXT, "sample.column_bound"),
    SheetColumn(lambda one, words: _share(one.worst, words), Look.TEXT, "sample.column_worst"),
)
