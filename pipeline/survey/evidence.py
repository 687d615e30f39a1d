"""Evidence per station and channel: how busy the air is, and where the figure comes from."""

from collections.abc import Iterator
from itertools import groupby
from operator import attrgetter

import polars as pl

from pipeline.database import Database
from pipeline.due import due, keep, narrowed, run_mark, store_marks
from pipeline.radio.airtime import Traffic, update_us
from pipeline.radio.channels import (
    CHANNELS,
    WIFI_CHANNELS,
    WIFI_PAIR_PRIMARIES,
    wifi_band,
    wifi_pair_band,
)
from pipeline.radio.masks import DSSS_22, HT_20, HT_40, Mask, channel_share_db
from pipeline.settings import Settings
from pipeline.survey.earshot import earshots
from pipeline.survey.path_loss import Pair, fit_store
from pipeline.tables.survey import (
    Earshot,
    EdEvidence,
    PathFit,
    PathResidual,
    ReadingToday,
    StationLoad,
)

_US_PER_MS = 1000
_READ = ("ed_reading", "heard_seen", "label_seen", "station_seen", "store_seen", "wifi_seen")
_FILLED = (StationLoad, Earshot, PathFit, PathResidual, EdEvidence, ReadingToday)


def survey(database: Database, settings: Settings) -> None:
    """Fill the survey tables for the day of this run; skip stores whose inputs are unchanged.

    Stores are surveyed in chunks, each all or nothing; an interrupted survey resumes.
    """
    run = run_mark(database, settings.limits, settings.path_loss)
    marks = store_marks([database.frame("survey", "facts")], run)
    found = due(database, "survey", marks)
    for stores in found.chunks():
        # Release outside of the transaction: a rollback drops the narrowed tables.
        with narrowed(database, stores, *_READ), database.transaction():
            database.clear_chosen(*_FILLED)
            _survey_chosen(database, settings)
            keep(database, "survey", stores, marks)


def _survey_chosen(database: Database, settings: Settings) -> None:
    database.insert("survey", "station_load", _update_times(database))
    _keep_earshot(database, settings)
    database.run("survey", "own_air")
    database.run("survey", "histogram")
    database.run("survey", "reading_today")
    database.run("survey", "measured")
    database.insert("survey", "inferred", wifi_shares())
    database.run("survey", "ed_evidence")


def _update_times(database: Database) -> pl.DataFrame:
    """Return the air time in ms of one update, per payload size in octets."""
    octets = database.column("survey", "payloads")
    times_ms = [update_us(Traffic(1, 1.0, max(1, size))) / _US_PER_MS for size in octets]
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
