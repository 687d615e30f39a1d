"""What a change did to the air, from scans since; and which labels followed their station."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, time
from math import ceil, hypot
from typing import Protocol

import polars as pl
from scipy.special import stdtrit

from pipeline.database import Database
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.portfolio import Portfolio
from pipeline.estimate.posterior import estimate
from pipeline.tables.changes import Change, ChangeLabels, LabelBehind

HELPED, NO_DIFFERENCE, WORSE, SCAN_AGAIN = "helped", "no difference shown", "worse", "scan again"
"""What the difference from before shows."""

_SERIES = ["store", "station", "channel"]
_COMPARED_LEAST = 10  # shares of fewer labels are too skewed for a t interval (common practice,
# no published source)


@dataclass(frozen=True, slots=True)
class Share:
    """A share of time, 0..1, with its 5 and 95 % points."""

    value: float
    low: float
    high: float

    def less(self, other: "Share") -> "Share":
        """Return the difference of two independent shares.

        Each side of its interval is the root of the sum of the squares of the sides that make it:
        exact for normal distributions, near enough for others (common practice, no published
        source).
        """
        value = self.value - other.value
        down = hypot(self.value - self.low, other.high - other.value)
        up = hypot(self.high - self.value, other.value - other.low)
        return Share(value, value - down, value + up)


@dataclass(frozen=True, slots=True)
class Measured:
    """What scans since a change show.

    `readings` and `air` are of the channel found; `left` is the clear air that the channel left
    would have today with the own neighbours of before, None where it was not scanned enough.
    """

    readings: int
    air: Share | None
    left: Share | None = None


class Changed(Protocol):
    """A change that waits for an export, as far as it matters to its effect."""

    @property
    def change(self) -> str:
        """The change's name."""
        ...

    @property
    def station(self) -> str:
        """Its station."""
        ...

    @property
    def store(self) -> str:
        """Its store."""
        ...

    @property
    def since(self) -> date:
        """Readings of later days count."""
        ...

    @property
    def channel_found(self) -> int | None:
        """The channel its station is on."""
        ...

    @property
    def left_channel(self) -> int | None:
        """The channel it was on before the whole plan; None: it was not on the air."""
        ...

    @property
    def free_of_own(self) -> float:
        """The share of time that own neighbours leave free, 0..1."""
        ...

    @property
    def free_of_own_before(self) -> float | None:
        """The same before the whole plan; None: not known."""
        ...


NOTHING = Measured(0, None)


def measured(
    database: Database, changes: Sequence[Changed], limits: Mapping[str, float], as_of: date
) -> dict[str, Measured]:
    """Return what scans since each change show; changes without any are left out.

    Both channels are estimated from these scans alone: a station moves where its channel looked
    busy, so that what was thought of it before is on average worse than the truth.

    Call it with their stores chosen.
    """
    fit = database.value("changes", "portfolio_fit")
    heard = _since(database.frame("changes", "blocks_since"), changes)
    if fit is None or heard.is_empty():
        return {}
    known = heard.select(*_SERIES, "wifi_share", "burst_dbm", "wifi_seen_at").unique(_SERIES)
    frame = estimate(
        heard.drop("wifi_share", "burst_dbm", "wifi_seen_at"),
        known.sort(_SERIES),
        Portfolio.from_json(fit),
        datetime.combine(as_of, time.max),
        Assumptions.of(limits),
    ).frame
    found = {(row["store"], row["channel"]): row for row in frame.iter_rows(named=True)}
    return {
        one.change: _measured(one, found, limits["readings_minimum"])
        for one in changes
        if (one.change, one.channel_found) in found
    }


def _since(blocks: pl.DataFrame, changes: Sequence[Changed]) -> pl.DataFrame:
    """Return the blocks of later days than each change, of the channels it is about.

    A change stands for the store, so that each has readings of its own.
    """
    wanted = pl.DataFrame(
        [
            (one.change, one.store, one.station, channel, one.since)
            for one in changes
            for channel in sorted(
                {c for c in (one.left_channel, one.channel_found) if c is not None}
            )
        ],
        schema={
            "change": pl.String,
            "store": pl.String,
            "station": pl.String,
            "channel": blocks.schema["channel"],
            "since": pl.Date,
        },
        orient="row",
    )
    return (
        blocks.join(wanted, on=_SERIES)
        .filter(pl.col("begins").dt.date() > pl.col("since"))
        .with_columns(pl.col("change").alias("store"))
        .drop("change", "since")
        .sort(*_SERIES, "visit", "hour", "statistic")
    )


_Found = Mapping[tuple[str, int | None], Mapping[str, float]]


def _measured(one: Changed, found: _Found, readings_minimum: float) -> Measured:
    here, left = found[one.change, one.channel_found], found.get((one.change, one.left_channel))
    air = _air(here, one.free_of_own)
    free = one.free_of_own_before
    if left is None or free is None or left["readings"] < readings_minimum:
        return Measured(int(here["readings"]), air)
    return Measured(int(here["readings"]), air, _air(left, free))


def _air(row: Mapping[str, float], free_of_own: float) -> Share:
    return Share(
        round((1 - row["busy_estimate"]) * free_of_own, 6),
        round((1 - row["busy_high"]) * free_of_own, 6),
        round((1 - row["busy_low"]) * free_of_own, 6),
    )


def share_of(value: float | None, low: float | None, high: float | None) -> Share | None:
    """Return a share with its interval; None where it is not known."""
    if value is None:
        return None
    return Share(value, value if low is None else low, value if high is None else high)


def verdict(gain: Share | None) -> str:
    """Return what a difference from before shows, 19 times in 20."""
    if gain is None:
        return SCAN_AGAIN
    if gain.low > 0:
        return HELPED
    return WORSE if gain.high < 0 else NO_DIFFERENCE


def success_gain(
    before: float | None, after: float | None, error: float | None, labels: int, interval: float
) -> tuple[float | None, float | None, float | None]:
    """Return the change of a share of updates acknowledged, with the ends of its interval.

    `error` is its standard error over so many labels, `interval` the chance that the interval holds
    it: Student's t with one degree of freedom less than labels. Ends are None where few labels or
    equal ones do not tell how far it strays; all is None where a share is not known.
    """
    if before is None or after is None:
        return None, None, None
    gain = round(after - before, 6)
    if not error or labels < _COMPARED_LEAST:
        return gain, None, None
    half = float(stdtrit(labels - 1, (1 + interval) / 2)) * error
    return gain, round(gain - half, 6), round(gain + half, 6)


@dataclass(frozen=True, slots=True)
class Calibration:
    """How promises of one kind held: `promised` and `measured` are means over the changes.

    `error` is the mean of measured less promised, `absolute_error` of its size, `held` the share of
    changes whose interval of clear air measured reaches the promise.
    """

    sureness: str  # 'all': whatever the evidence
    promised_from: float
    promised_to: float
    changes: int
    promised: float
    measured: float
    error: float
    absolute_error: float
    held: float


def calibration(database: Database, stores: Sequence[str]) -> tuple[Calibration, ...]:
    """Return how promises in some stores held up to the run's day: by kind, and over all."""
    return tuple(database.records(Calibration, "changes", "calibration", {"stores": stores}))


@dataclass(frozen=True, slots=True)
class _Counted:
    """The labels of a change as counted; `error` is the standard error of the gain."""

    change: str
    store: str
    station: str
    since: date
    told_on: date | None
    labels_due: int
    labels_listed: int
    labels_back: int
    labels_unsaid: int
    labels_elsewhere: int
    labels_compared: int
    success_before: float | None
    success_after: float | None
    error: float | None


def follow(database: Database, interval: float) -> dict[str, ChangeLabels]:
    """Look for the labels of every change made; keep what was found, and return it by change.

    `interval` is the chance that an interval holds the truth, 0..1.
    """
    database.clear(ChangeLabels, LabelBehind)
    if not database.count(Change):
        return {}
    database.run("changes", "labels_span")
    database.run("changes", "hold_labels")
    database.run("changes", "followed")
    database.run("changes", "keep_behind")
    found = [_kept(one, interval) for one in database.records(_Counted, "changes", "label_changes")]
    database.release("label_matched", "followed", "labels_span")
    database.put(ChangeLabels, found)
    return {one.change: one for one in found}


def _kept(one: _Counted, interval: float) -> ChangeLabels:
    gained, low, high = success_gain(
        one.success_before, one.success_after, one.error, one.labels_compared, interval
    )
    counted = asdict(one)
    del counted["error"]
    return ChangeLabels(
        **counted, success_gained=gained, success_gained_low=low, success_gained_high=high
    )


def astray(
    labels: ChangeLabels | None, back_least: float, silent_after_days: float
) -> Iterator[str]:
    """Yield what is surely wrong with the labels of a change: too many silent, or elsewhere.

    What no export says of a label counts neither for nor against it, and so does what one says
    sooner after the change than `silent_after_days`. `back_least` is the share of them that must be
    back at their station, 0..1.
    """
    if labels is None or labels.told_on is None or not labels.labels_due:
        return
    if (labels.told_on - labels.since).days <= silent_after_days:
        return
    left = labels.labels_due - labels.missing - labels.labels_elsewhere
    if left / labels.labels_due < back_least:
        yield (
            f"of {labels.labels_due} labels {labels.missing} were not heard since the change and "
            f"{labels.labels_elsewhere} are served by other stations"
        )


def awaited(
    labels: ChangeLabels | None, served: int, back_least: float, verified_least: float
) -> Iterator[str]:
    """Yield what must still be known of its labels before a change counts as verified.

    `served` are those it served when it was proposed. Labels that the export no longer lists are
    taken for removed, unless more are gone than `back_least` allows: then the export is in doubt.
    """
    if not verified_least:
        return
    if labels is None or labels.told_on is None:
        if served or (labels is not None and labels.labels_due):
            yield "no labels export since the change"
        return
    due, listed, back = labels.labels_due, labels.labels_listed, labels.labels_back
    day = labels.told_on
    if not due:
        return
    if listed / due < back_least:
        yield f"the labels export of {day} lists {listed} of its {due} labels: export all of them"
    elif back / listed < verified_least:
        told = f"{back} of {listed} labels are back in the labels export of {day}"
        unsaid = f"; of {labels.labels_unsaid} it does not say when they were last heard"
        needed = ceil(round(verified_least * listed, 9))
        yield f"{told}{unsaid if labels.labels_unsaid else ''}, {needed} needed"


def said(labels: ChangeLabels | None) -> str:
    """Return how many labels are back, and how the share of updates they acknowledge changed."""
    if labels is None or not labels.labels_due:
        return ""
    back = f", {labels.labels_back} of {labels.labels_listed} labels back"
    if labels.success_after is None or labels.success_gained is None:
        return f"{back}, updates acknowledged not known"
    return f"{back}, updates acknowledged {labels.success_after:.1%}, {labels.success_gained:+.1%}"
