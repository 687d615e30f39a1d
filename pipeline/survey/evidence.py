"""Evidence per station and channel: how busy the air is, and where the figure comes from."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cache
from itertools import groupby
from operator import attrgetter

import polars as pl

from pipeline.database import Database
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.harm import frame_losses
from pipeline.estimate.portfolio import Portfolio, fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.prior import OUTSIDE, group_of
from pipeline.estimate.visits import blocks
from pipeline.fresh import (
    Stale,
    choose,
    fingerprint,
    keep,
    narrowed,
    run_mark,
    stale,
    store_marks,
)  # fmt: skip
from pipeline.radio.channels import (
    CHANNELS,
    DSSS_22,
    HT_20,
    HT_40,
    WIFI_CHANNELS,
    WIFI_PAIR_PRIMARIES,
    Mask,
    channel_share_db,
    wifi_band,
    wifi_pair_band,
)
from pipeline.radio.coexistence import update_us
from pipeline.settings import Settings
from pipeline.survey.earshot import Pair, earshots, fit_store, keep_next_door
from pipeline.tables.survey import (
    BlockToday,
    Earshot,
    EdEvidence,
    PathFit,
    PathResidual,
    PortfolioFit,
    StationLoad,
)

_US_PER_MS = 1000
FACTS = (
    "heard_matched", "label_matched", "station_seen", "store_matched", "wifi_matched",
)  # fmt: skip
_FOLDING = (
    "place", "heard_air", "own_air", "beside_own", "drop_beside_own", "drop_unmeasured",
)  # fmt: skip
_FIT_STORES = 100  # with readings; more would change the portfolio's figures by little


def survey(database: Database, settings: Settings) -> None:
    """Fill the survey tables for the day of this run; skip stores whose inputs are unchanged.

    Stores are surveyed in chunks, each all or nothing; an interrupted survey resumes. Who hears
    whom comes first, next door too, then what holds over the portfolio, then the air of each store.
    """
    run = run_mark(database, settings.limits, settings.path_loss)
    keep_next_door(database, settings)
    facts = [database.frame("survey", name) for name in ("facts", "facts_next_door")]
    marks = store_marks(facts, run)
    found = stale(database, "earshot", marks)
    for stores in found.chunks():
        with _chosen(database, stores):
            database.clear_chosen(StationLoad, Earshot, PathFit, PathResidual)
            database.insert("survey", "station_load", _update_times(database))
            _keep_earshot(database, settings)
            keep(database, "earshot", stores, marks)
    database.run("survey", "next_door")
    assumed = Assumptions.of(settings.limits)
    portfolio, fold = _portfolio(database, marks, assumed)
    fit = portfolio.to_json()
    marks = {store: fingerprint(mark, fit) for store, mark in marks.items()}
    found = stale(database, "survey", marks)
    for stores in found.chunks():
        with _chosen(database, stores):
            database.clear_chosen(EdEvidence, BlockToday)
            if fold is None or fold.stores != stores:
                fold = _folded(database, stores, assumed)
            _keep_air(database, fold, portfolio, assumed)
            keep(database, "survey", stores, marks)


@contextmanager
def _chosen(database: Database, stores: Sequence[str]) -> Iterator[None]:
    # Release outside of the transaction: a rollback drops the narrowed tables.
    with narrowed(database, stores, *FACTS), database.transaction():
        yield


@dataclass(frozen=True, slots=True)
class _Fold:
    """What `folded` returned of some stores, whose temporary tables are still there."""

    stores: tuple[str, ...]
    found: pl.DataFrame
    known: pl.DataFrame


def _portfolio(
    database: Database, marks: Mapping[str, str], assumed: Assumptions
) -> tuple[Portfolio, _Fold | None]:
    """Return what holds over the portfolio, fitted again where the stores it rests on changed.

    Where the first chunk of all stores has those, it is folded for both at once and returned too.
    """
    stores = database.column("survey", "fit_stores", {"most": _FIT_STORES})
    mark = {"": fingerprint(*(marks[store] for store in stores))}
    kept = database.column("survey", "portfolio_fit")
    if kept and not stale(database, "portfolio", mark).stores:
        return Portfolio.from_json(kept[0]), None
    first = next(Stale(tuple(sorted(marks))).chunks(), ())
    ahead = set(stores).issubset(first)
    folding = first if ahead else tuple(stores)
    with _chosen(database, folding):
        fold = _folded(database, folding, assumed)
        read = fold.found.filter(pl.col("store").is_in(stores))
        portfolio = fit_portfolio(read, fold.known, assumed)
    with database.transaction():
        database.clear(PortfolioFit)
        database.put(PortfolioFit, [PortfolioFit(portfolio.to_json())])
        choose(database, [""])
        keep(database, "portfolio", [""], mark)
    return portfolio, fold if ahead else None


def _folded(database: Database, stores: tuple[str, ...], assumed: Assumptions) -> _Fold:
    return _Fold(stores, *folded(database, assumed))


def _keep_air(database: Database, fold: _Fold, portfolio: Portfolio, assumed: Assumptions) -> None:
    as_of = datetime.combine(database.value("run", "this_day"), time.max)
    database.run("survey", "measured")
    database.insert("survey", "frames_lost", frame_losses())
    estimates = estimate(fold.found, fold.known, portfolio, as_of, assumed).frame
    database.insert("survey", "ed_evidence", estimates)
    on = ["store", "station", "channel"]
    database.insert("survey", "block_today", fold.found.drop("stray_db").join(fold.known, on=on))


def folded(database: Database, assumed: Assumptions) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Return the chosen stores' readings by visit and hour, and what else is known of each series.

    What our own stations added is taken off where there is no clean scan.
    """
    for name in _FOLDING:
        database.run("survey", name)
    database.insert("survey", "inferred", wifi_shares())
    found = blocks(database.frame("survey", "scans"), assumed)
    free = database.frame("survey", "free_of_own")
    clean = 1 - (1 - pl.col("busy") / pl.col("readings")) / pl.col("free_of_own").fill_null(1.0)
    outside = (clean.clip(lower_bound=0.0) * pl.col("readings")).round().cast(pl.Int64)
    taken_off = (
        found.join(free, on=["store", "station", "channel"], how="left", maintain_order="left")
        .with_columns(outside.alias("busy"))
        .drop("free_of_own")
    )
    return taken_off, database.frame("survey", "known")


def _update_times(database: Database) -> pl.DataFrame:
    """Return the air time in ms of one update, per payload size in octets."""
    octets = database.column("survey", "payloads")
    times_ms = [update_us(max(1, size)) / _US_PER_MS for size in octets]
    return pl.DataFrame(
        {"payload_octets": octets, "air_ms": times_ms},
        schema={"payload_octets": pl.Int64, "air_ms": pl.Float64},
    )


def _keep_earshot(database: Database, settings: Settings) -> None:
    pairs = database.records(Pair, "survey", "pairs")
    fits: list[PathFit] = []
    residuals: list[PathResidual] = []
    for store, group in groupby(pairs, key=attrgetter("store")):
        fit, rest = fit_store(store, tuple(group), settings.limits)
        fits.append(fit)
        residuals.extend(rest)
    heard = earshots(pairs, settings.limits, settings.path_loss, {fit.store: fit for fit in fits})
    database.put(PathFit, fits)
    database.put(PathResidual, residuals)
    database.put(Earshot, heard)


@cache  # the masks are what they are
def wifi_shares() -> pl.DataFrame:
    """Return how much of each Wi-Fi signal falls into each IEEE 802.15.4 channel.

    Columns wifi_channel, width_mhz, secondary ('' but for 40 MHz), channel, share_db. Masks of
    IEEE 802.11: DSSS for 22 MHz, HT for 20 and 40 MHz.
    """
    rows = [
        (number, width_mhz, secondary, channel, channel_share_db(channel, centre_mhz, mask))
        for number, width_mhz, secondary, centre_mhz, mask in _signals()
        for channel in CHANNELS
    ]
    columns = ("wifi_channel", "width_mhz", "secondary", "channel", "share_db")
    return pl.DataFrame(rows, schema=columns, orient="row")


def _signals() -> Iterator[tuple[int, int, str, float, Mask]]:
    for number in WIFI_CHANNELS:
        centre_mhz = wifi_band(number).centre_mhz
        yield number, 20, "", centre_mhz, HT_20
        yield number, 22, "", centre_mhz, DSSS_22
        for secondary, primaries in WIFI_PAIR_PRIMARIES.items():
            if number in primaries:
                pair = wifi_pair_band(number, "above" if secondary == "above" else "below")
                yield number, 40, secondary, pair.centre_mhz, HT_40


_DAYS_PER_WEEK = 7


@dataclass(frozen=True, slots=True)
class TracedReading:
    """Equal readings that count, at one moment on the store's clock; `above`: over the limit."""

    store_time: datetime
    level_dbm: float
    statistic: str
    dwell_ms: float | None
    readings: int
    above: bool


@dataclass(frozen=True, slots=True)
class TracedBlock:
    """The readings of one hour of a visit, and how many weeks old the visit is."""

    visit: int
    begins: datetime
    hour: int
    statistic: str
    dwell_ms: float | None
    level_dbm: float | None
    readings: int
    busy: int
    still: int | None
    span_s: float
    weeks: int


@dataclass(frozen=True, slots=True)
class TracedChannel:
    """All that the estimate of one station on one channel is made of.

    `read_at` is the station or place whose readings stand for it, `left_free` what our own traffic
    left free and is taken off, `group` the prior's, `wifi_weeks` the age of its Wi-Fi survey.
    """

    evidence: EdEvidence
    read_at: str
    time_zone: str | None
    readings: tuple[TracedReading, ...]
    blocks: tuple[TracedBlock, ...]
    left_free: float | None
    wifi_share: float | None
    burst_dbm: float | None
    wifi_seen_at: date | None
    wifi_weeks: int
    group: str
    portfolio: Portfolio
    assumed: Assumptions


@dataclass(frozen=True, slots=True)
class _ReadPlace:
    read_at: str
    time_zone: str | None


def traced(
    database: Database, settings: Settings, store: str, station: str, channels: Sequence[int]
) -> tuple[TracedChannel, ...]:
    """Return what the estimates of a station on some channels are made of, by the last run.

    Channels that the survey has no estimate of are left out.
    """
    assumed = Assumptions.of(settings.limits)
    portfolio = Portfolio.from_json(database.column("survey", "portfolio_fit")[0])
    database.run("survey", "next_door")
    with narrowed(database, [store], *FACTS):
        found, known = folded(database, assumed)
        free = database.frame("survey", "free_of_own")
        mine = {"store": store, "station": station}
        every = [
            _channel(
                database, mine | {"channel": channel}, (found, known, free), portfolio, assumed
            )
            for channel in channels
        ]
    return tuple(one for one in every if one is not None)


def _channel(
    database: Database,
    key: dict[str, object],
    frames: tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame],
    portfolio: Portfolio,
    assumed: Assumptions,
) -> TracedChannel | None:
    evidence = database.records(EdEvidence, "survey", "traced_evidence", key)
    if not evidence:
        return None
    (place,) = database.records(
        _ReadPlace, "survey", "traced_place", {name: key[name] for name in ("store", "station")}
    )
    found, known, free = (
        frame.filter(*(pl.col(name) == value for name, value in key.items())) for frame in frames
    )
    as_of = datetime.combine(database.value("run", "this_day"), time.max)
    blocks = found.with_columns(_weeks(pl.col("begins"), as_of).alias("weeks")).sort(
        "visit", "hour", "statistic", "dwell_ms"
    )
    fields = list(TracedBlock.__dataclass_fields__)
    facts = known.with_columns(
        group_of(pl.col("wifi_share")).alias("group"),
        _weeks(pl.col("wifi_seen_at").cast(pl.Datetime("us")), as_of).fill_null(0).alias("weeks"),
    ).row(0, named=True)
    return TracedChannel(
        evidence=evidence[0],
        read_at=place.read_at,
        time_zone=place.time_zone,
        readings=tuple(database.records(TracedReading, "survey", "traced_readings", key)),
        blocks=tuple(TracedBlock(*row) for row in blocks.select(fields).iter_rows()),
        left_free=None if free.is_empty() else free["free_of_own"][0],
        wifi_share=facts["wifi_share"],
        burst_dbm=facts["burst_dbm"],
        wifi_seen_at=facts["wifi_seen_at"],
        wifi_weeks=facts["weeks"] if facts["group"] != OUTSIDE else 0,
        group=facts["group"],
        portfolio=portfolio,
        assumed=assumed,
    )


def _weeks(moment: pl.Expr, as_of: datetime) -> pl.Expr:
    """Return the age of a moment in whole weeks, as the estimate counts it."""
    return ((pl.lit(as_of) - moment).dt.total_days() // _DAYS_PER_WEEK).clip(lower_bound=0)
