"""A chain of stores with networks around them, surveyed by scanners; deterministic by seed."""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from simulate.bursts import begun_within, expected_bursts, share_of_dwell, states
from simulate.load import STEP_S, daily, fast, load, slow
from simulate.setting import TRADING, Setting

Floats = NDArray[np.float64]
THRESHOLD_DBM = -75.0
CHANNELS = np.arange(11, 27)
START = datetime(2026, 8, 3)
_FLOOR_DBM = -96.0
_JITTER_DB = 2.0
_SILENT_DBM = -200.0
_WIFI = (1, 6, 11, 1, 6, 11, 1, 6, 11, 3, 9, 13)


@dataclass(frozen=True)
class Chain:
    """What a survey brings, and the truth behind it.

    readings: store, station, scanned_at, channel, level_dbm, statistic, dwell_ms, readings.
    truth: store, station, channel, busy (share in trading hours), wifi_seen, wifi_share (what a
    Wi-Fi survey infers; null where there is none), burst_dbm (loudest network of that survey).
    """

    readings: pl.DataFrame
    truth: pl.DataFrame


@dataclass(frozen=True)
class _Store:
    """Networks of one store: level in dBm per (station, network, channel), load, burst."""

    level_dbm: Floats
    base: Floats
    spread: Floats
    burst_ms: Floats
    is_wifi: NDArray[np.bool_]


@dataclass(frozen=True)
class Air:
    """One store's networks over the days.

    level_dbm: (stations, networks, channels); slowly: load by step and network, in all hours and in
    trading hours; told: the use of each network that a Wi-Fi survey tells, 0..1.
    """

    networks: _Store
    slowly: Floats
    trading: Floats
    told: Floats

    def busy(self, level_dbm: Floats) -> Floats:
        """Return the share busy in trading hours by station and channel, at these levels."""
        chance = _heard(level_dbm)
        found = np.zeros((chance.shape[0], chance.shape[2]))
        for i, c in np.ndindex(*found.shape):
            near = np.flatnonzero(chance[i, :, c] > 1e-4)
            free = np.prod(1 - self.trading[:, near] * chance[i, near, c], axis=1)
            found[i, c] = 1 - free.mean()
        return found


def airs(setting: Setting, seed: int) -> list[Air]:
    """Return the air of each store of a chain, as `chain` surveys it."""
    air = np.random.default_rng([seed, 0])
    return [_air(air, setting) for _ in range(setting.stores)]


def chain(setting: Setting, seed: int, survey: int = 0) -> Chain:
    """Return one chain; the same setting and seed give the same frames.

    Surveys with different numbers are of the same air at other times.
    """
    air = np.random.default_rng([seed, 0])
    scan = np.random.default_rng([seed, 1, survey, setting.readings, setting.visits])
    parts = [_surveyed(air, scan, setting, f"S{at:04}") for at in range(setting.stores)]
    return Chain(pl.concat([r for r, _ in parts]), pl.concat([t for _, t in parts]))


def _networks(rng: np.random.Generator, setting: Setting) -> _Store:
    stations = setting.stations or int(rng.integers(2, 11))
    if setting.null is not None:
        return _null(rng, setting, stations)
    wifi, narrow = int(rng.integers(2, 8)), int(rng.integers(0, 4))
    level = np.full((stations, wifi + narrow, CHANNELS.size), _SILENT_DBM)
    for at in range(wifi):
        first = int(rng.choice(_WIFI)) - 1  # Wi-Fi n lies over channels n + 10 to n + 13
        heard = rng.normal(-68.0, 5.0) + rng.normal(0.0, 8.0, stations)
        level[:, at, first : first + 4] = heard[:, None] - np.array([3.0, 0.0, 0.0, 3.0])
    for at in range(wifi, wifi + narrow):
        heard = rng.normal(-74.0, 6.0) + rng.normal(0.0, 8.0, stations)
        level[:, at, int(rng.integers(CHANNELS.size))] = heard
    count = wifi + narrow
    return _Store(
        level,
        np.minimum(np.exp(rng.normal(np.log(0.06), 1.0, count)), 0.5),
        setting.spread * rng.uniform(0.7, 1.3, count),
        setting.burst_ms * np.exp(rng.normal(0.0, 0.5, count)),
        np.arange(count) < wifi,
    )


def _null(rng: np.random.Generator, setting: Setting, stations: int) -> _Store:
    """Every channel of every station has a network of its own, all equally busy."""
    assert setting.null is not None
    null = (
        setting.null if setting.null_most is None else rng.uniform(setting.null, setting.null_most)
    )
    count = stations * CHANNELS.size
    level = np.full((stations, count, CHANNELS.size), _SILENT_DBM)
    for at in range(count):
        level[at // CHANNELS.size, at, at % CHANNELS.size] = -60.0
    base = np.full(count, null / _trading_mean(setting))
    return _Store(
        level,
        base,
        np.full(count, setting.spread),
        np.full(count, setting.burst_ms),
        np.zeros(count, dtype=bool),
    )


def _trading_mean(setting: Setting) -> float:
    return float(daily(np.arange(TRADING[0], TRADING[1], 0.1), setting.daily).mean())


def _surveyed(
    air: np.random.Generator, scan: np.random.Generator, setting: Setting, store: str
) -> tuple[pl.DataFrame, pl.DataFrame]:
    found = _air(air, setting)
    times_s = _times(scan, setting)
    readings = _readings(scan, setting, store, found.networks, found.slowly, times_s)
    return readings, _truth(setting, store, found)


def _air(air: np.random.Generator, setting: Setting) -> Air:
    networks = _networks(air, setting)
    log_slow = slow(air, networks.spread, setting.days)
    hour = (np.arange(log_slow.shape[0]) * STEP_S / 3600) % 24
    # All networks share the shape of the day.
    slowly = load(networks.base, log_slow + np.log(daily(hour, setting.daily))[:, None])
    trading = (hour >= TRADING[0]) & (hour < TRADING[1])
    if setting.null is not None:
        slowly = slowly * networks.base * _trading_mean(setting) / slowly[trading].mean(axis=0)
    strayed = np.exp(air.normal(0.0, 0.5, networks.base.size))
    told = np.minimum(slowly[trading].mean(axis=0) * strayed, _MOST_TOLD)
    return Air(networks, slowly, slowly[trading], told)


def _times(rng: np.random.Generator, setting: Setting) -> Floats:
    """Return when readings are taken, (visits, readings), s after the start; visits on own days."""
    per_visit = setting.readings // setting.visits
    days = np.sort(rng.choice(np.arange(setting.days), setting.visits, replace=False))
    latest = max(setting.hours[0] + 0.01, setting.hours[1] - setting.span_s / 3600)
    begins = days * 86400 + 3600 * rng.uniform(setting.hours[0], latest, setting.visits)
    offsets = np.sort(rng.uniform(0, setting.span_s, (setting.visits, per_visit)), axis=1)
    if setting.span_s < 60:  # a scanner in a hurry keeps its pace
        offsets = np.tile(np.arange(per_visit) * setting.span_s / per_visit, (setting.visits, 1))
    return begins[:, None] + offsets


def _readings(  # noqa: PLR0917 - the parts of one survey
    rng: np.random.Generator,
    setting: Setting,
    store: str,
    networks: _Store,
    slowly: Floats,
    times_s: Floats,
) -> pl.DataFrame:
    apart_s = np.diff(times_s, axis=1, prepend=times_s[:, :1])
    steps = np.minimum((times_s / STEP_S).astype(int), slowly.shape[0] - 1)
    share = load(slowly[steps].transpose(1, 2, 0), fast(rng, networks.spread, apart_s))
    on = states(rng, share, apart_s * 1000, networks.burst_ms, setting.tail)
    part = _part_of_reading(rng, setting, on, share, networks.burst_ms)
    stations, _, channels = networks.level_dbm.shape
    readings = share.shape[0]
    mw = np.full((readings, times_s.shape[0], stations, channels), 10 ** (_FLOOR_DBM / 10))
    bursts = 1 + expected_bursts(share, setting.dwell_ms, networks.burst_ms)
    for at in range(share.shape[1]):
        level = networks.level_dbm[:, at, :]
        shape = (readings, times_s.shape[0], stations, 1)
        jitter = _jitter(rng, setting.statistic, bursts[:, at, :, None, None], shape)
        mw += part[:, at, :, None, None] * 10 ** ((level + jitter) / 10)
    level_dbm = 10 * np.log10(mw) + rng.normal(0.0, 1.0, mw.shape) * (mw < 2e-9)
    return _frame(setting, store, times_s, level_dbm)


def _jitter(
    rng: np.random.Generator, statistic: str, bursts: Floats, shape: tuple[int, ...]
) -> Floats:
    """Draw how far a reading is from a network's level, in dB; each burst has its own."""
    if statistic == "mean":  # averaged in mW
        return np.full(shape, (_JITTER_DB * np.log(10) / 10) ** 2 / 2 * 10 / np.log(10))
    part = rng.random(shape) ** (1 / bursts if statistic == "max" else 1.0)
    result: Floats = _JITTER_DB * ndtri(part)
    return result


def _part_of_reading(
    rng: np.random.Generator, setting: Setting, on: NDArray[np.bool_], share: Floats, burst: Floats
) -> Floats:
    if setting.statistic == "max":
        begun = begun_within(rng, share, setting.dwell_ms, burst)
        return (on | begun).astype(np.float64)
    if setting.statistic == "mean":
        return share_of_dwell(rng, on, share, setting.dwell_ms, burst)
    return on.astype(np.float64)


def _frame(setting: Setting, store: str, times_s: Floats, level_dbm: Floats) -> pl.DataFrame:
    readings, visits, stations, channels = level_dbm.shape
    stamp = np.datetime64(START, "us") + (times_s.T * 1e6).astype("timedelta64[us]")
    names = np.array([f"{store}-{at:02}" for at in range(stations)])
    shape = (readings, visits, stations, channels)
    return pl.DataFrame(
        {
            "station": np.broadcast_to(names[None, None, :, None], shape).ravel(),
            "scanned_at": np.broadcast_to(stamp[:, :, None, None], shape).ravel(),
            "channel": np.broadcast_to(CHANNELS, shape).ravel(),
            "level_dbm": np.round(level_dbm, 0).ravel(),
        }
    ).select(
        pl.lit(store).alias("store"),
        "station",
        "scanned_at",
        "channel",
        "level_dbm",
        pl.lit(setting.statistic).alias("statistic"),
        pl.lit(setting.dwell_ms).alias("dwell_ms"),
        pl.lit(1, dtype=pl.Int64).alias("readings"),
    )


def _heard(level_dbm: Floats) -> Floats:
    """Return the chance that a reading of a network is above the threshold, with its jitter."""
    # Readings are whole dBm, so one counts as above from half a step higher.
    above = (level_dbm - THRESHOLD_DBM - 0.5) / _JITTER_DB
    chance: Floats = ndtr(above)
    return chance


def _truth(setting: Setting, store: str, air: Air) -> pl.DataFrame:
    networks = air.networks
    stations, _, channels = networks.level_dbm.shape
    shares = air.busy(networks.level_dbm)
    wifi = (networks.level_dbm > THRESHOLD_DBM) & networks.is_wifi[None, :, None]
    rows = []
    for i in range(stations):
        for c in range(channels):
            seen = np.flatnonzero(wifi[i, :, c])
            loudest = float(networks.level_dbm[i, seen, c].max()) if seen.size else None
            share = float(1 - np.prod(1 - air.told[seen])) if setting.surveyed else None
            shown = bool(seen.size) if setting.surveyed else None
            burst = loudest if setting.surveyed else None
            busy = float(shares[i, c])
            rows.append((store, f"{store}-{i:02}", int(CHANNELS[c]), busy, shown, share, burst))
    schema = {
        "store": pl.String,
        "station": pl.String,
        "channel": pl.Int64,
        "busy": pl.Float64,
        "wifi_seen": pl.Boolean,
        "wifi_share": pl.Float64,
        "burst_dbm": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


_MOST_TOLD = 0.9


def last_day(setting: Setting) -> datetime:
    """Return the day after the last visit, on which the survey is evaluated."""
    return START + timedelta(days=setting.days)
