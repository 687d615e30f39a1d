"""Evidence per station and channel: how busy the air is, and where the figure comes from."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime, time
from functools import cache
from itertools import groupby
from operator import attrgetter

import polars as pl

from pipeline.database import Database
from pipeline.estimate.assumptions import Assumptions
from pipeline.estimate.harm import frame_losses
from pipeline.estimate.portfolio import Portfolio, fit_portfolio
from pipeline.estimate.posterior import estimate
from pipeline.estimate.visits import blocks
from pipeline.fresh import choose, fingerprint, keep, narrowed, run_mark, stale, store_marks
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
    portfolio = _portfolio(database, settings, marks)
    fit = portfolio.to_json()
    marks = {store: fingerprint(mark, fit) for store, mark in marks.items()}
    found = stale(database, "survey", marks)
    for stores in found.chunks():
        with _chosen(database, stores):
            database.clear_chosen(EdEvidence, BlockToday)
            _keep_air(database, settings, portfolio)
            keep(database, "survey", stores, marks)


@contextmanager
def _chosen(database: Database, stores: Sequence[str]) -> Iterator[None]:
    # Release outside of the transaction: a rollback drops the narrowed tables.
    with narrowed(database, stores, *FACTS), database.transaction():
        yield


def _portfolio(database: Database, settings: Settings, marks: Mapping[str, str]) -> Portfolio:
    """Return what holds over the portfolio, fitted again where the stores it rests on changed."""
    stores = database.column("survey", "fit_stores", {"most": _FIT_STORES})
    mark = {"": fingerprint(*(marks[store] for store in stores))}
    kept = database.column("survey", "portfolio_fit")
    if kept and not stale(database, "portfolio", mark).stores:
        return Portfolio.from_json(kept[0])
    assumed = Assumptions.of(settings.limits)
    with _chosen(database, stores):
        portfolio = fit_portfolio(*folded(database, assumed), assumed)
    with database.transaction():
        database.clear(PortfolioFit)
        database.put(PortfolioFit, [PortfolioFit(portfolio.to_json())])
        choose(database, [""])
        keep(database, "portfolio", [""], mark)
    return portfolio


def _keep_air(database: Database, settings: Settings, portfolio: Portfolio) -> None:
    assumed = Assumptions.of(settings.limits)
    found, known = folded(database, assumed)
    as_of = datetime.combine(database.value("run", "this_day"), time.max)
    database.run("survey", "measured")
    database.insert("survey", "frames_lost", frame_losses())
    estimates = estimate(found, known, portfolio, as_of, assumed).frame
    database.insert("survey", "ed_evidence", estimates)
    on = ["store", "station", "channel"]
    database.insert("survey", "block_today", found.drop("stray_db").join(known, on=on))


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
