"""A second chain, made otherwise than `chain`: nothing of the estimator was chosen on it.

Each station is scanned on days of its own, one channel after the other; loads have a long memory
(fractional Gaussian noise made from its spectrum) and come in sessions of Pareto length; levels
fall with the distance; ovens and narrow networks share the air; the shops are closed on Sundays.
"""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.special import ndtr

from simulate.chain import CHANNELS, START, THRESHOLD_DBM, Chain
from simulate.setting import TRADING, Setting

Floats = NDArray[np.float64]

_STEP_S = 60.0
_MEMORY = 0.85  # Hurst's exponent
_SLOW, _FAST = 0.9, 0.8  # standard deviations of the logarithm of a load
_FAST_S = 4.0
_STRAY_DB = 2.5
_MOST = 0.95
_SILENT_DBM = -200.0
_CENTRE_MHZ = 2405 + 5 * (CHANNELS - 11)
_SUNDAY = 6
_COLUMNS = {
    "store": pl.String,
    "station": pl.String,
    "channel": pl.Int64,
    "busy": pl.Float64,
    "wifi_share": pl.Float64,
    "burst_dbm": pl.Float64,
}


@dataclass(frozen=True)
class _Air:
    """Networks of a store: level_dbm (stations, networks, channels), share (minutes, networks)."""

    level_dbm: Floats
    burst_ms: Floats
    is_wifi: NDArray[np.bool_]
    share: Floats


def swept(setting: Setting, seed: int, survey: int = 0) -> Chain:
    """Return one chain, as `chain.chain` does; the same arguments give the same frames."""
    air = np.random.default_rng([77, seed])
    scan = np.random.default_rng([78, seed, survey, setting.readings])
    parts = [_store(air, scan, setting, f"S{at:04}") for at in range(setting.stores)]
    return Chain(pl.concat([r for r, _ in parts]), pl.concat([t for _, t in parts]))


def _store(
    air: np.random.Generator, scan: np.random.Generator, setting: Setting, store: str
) -> tuple[pl.DataFrame, pl.DataFrame]:
    made = _air(air, setting)
    names = [f"{store}-{at:02}" for at in range(made.level_dbm.shape[0])]
    truth = _truth(air, setting, store, names, made)
    rows = [_station(scan, setting, made, at, name) for at, name in enumerate(names)]
    readings = pl.concat(rows).with_columns(
        pl.lit(store).alias("store"),
        pl.lit(setting.statistic).alias("statistic"),
        pl.lit(setting.dwell_ms).alias("dwell_ms"),
        pl.lit(1, dtype=pl.Int64).alias("readings"),
    )
    return readings, truth


def _air(rng: np.random.Generator, setting: Setting) -> _Air:
    stations = setting.stations or int(rng.integers(2, 11))
    place_m = rng.uniform(0, 1, (stations, 2)) * np.array([60, 40])
    wifi, narrow, oven = int(rng.integers(2, 9)), int(rng.integers(0, 3)), rng.random() < 0.3
    levels = [_wifi(rng, place_m) for _ in range(wifi)]
    levels += [_narrow(rng, stations) for _ in range(narrow)]
    levels += [_oven(rng, stations)] if oven else []
    base = np.concatenate(
        [
            np.minimum(np.exp(rng.normal(np.log(0.05), 1.1, wifi)), 0.6),
            np.minimum(np.exp(rng.normal(np.log(0.04), 1.2, narrow)), 0.6),
            [0.02] * oven,
        ]
    )
    burst = np.concatenate([rng.uniform(0.4, 3, wifi), rng.uniform(1, 6, narrow), [8.0] * oven])
    is_wifi = np.arange(base.size) < wifi
    return _Air(np.array(levels).transpose(1, 0, 2), burst, is_wifi, _shares(rng, setting, base))


def _wifi(rng: np.random.Generator, place_m: Floats) -> Floats:
    channel = int(rng.choice([1, 1, 6, 6, 11, 11, 4, 8, 13]))
    half_mhz = 20 if rng.random() < 0.1 else 10
    away_m = np.maximum(2, np.hypot(*(rng.uniform(-15, 75, 2) - place_m).T))
    shade_db = rng.uniform(0, 8) - rng.normal(0, 4, away_m.size)
    heard = -18 - 20 * np.log10(away_m) - 0.35 * away_m - shade_db
    off_mhz = np.abs(_CENTRE_MHZ - (2407 + 5 * channel))
    steps = [off_mhz <= half_mhz - 2, off_mhz <= half_mhz + 2]
    level: Floats = heard[:, None] + np.select(steps, [0.0, -5.0], -30.0)
    return level


def _narrow(rng: np.random.Generator, stations: int) -> Floats:
    level = np.full((stations, CHANNELS.size), _SILENT_DBM)
    level[:, int(rng.integers(CHANNELS.size))] = rng.normal(-74, 8) + rng.normal(0, 6, stations)
    return level


def _oven(rng: np.random.Generator, stations: int) -> Floats:
    level = np.full((stations, CHANNELS.size), _SILENT_DBM)
    heard = rng.normal(-66, 6) + rng.normal(0, 7, stations)
    level[:, 9:15] = heard[:, None] + np.array([-8, -3, 0, 0, -3, -8])
    return level


def _trading(setting: Setting) -> NDArray[np.bool_]:
    minute = np.arange(int(setting.days * 86400 / _STEP_S))
    hour = (minute * _STEP_S / 3600) % 24
    closed = (minute * _STEP_S // 86400) % 7 == _SUNDAY
    trading: NDArray[np.bool_] = (hour >= TRADING[0]) & (hour < TRADING[1]) & ~closed
    return trading


def _shares(rng: np.random.Generator, setting: Setting, base: Floats) -> Floats:
    """Return each network's share of time per minute; its mean in trading hours is about `base`."""
    trading = _trading(setting)
    minute = np.arange(trading.size)
    hour = (minute * _STEP_S / 3600) % 24
    evening = np.exp(-(((hour - 17.5) / 2.5) ** 2))
    day = 0.45 + 1.1 * evening + 0.6 * np.exp(-(((hour - 11.5) / 2) ** 2))
    day *= np.where((hour < 7) | (hour >= 21), 0.25, 1)
    day *= np.where((minute * _STEP_S // 86400) % 7 == _SUNDAY, 0.2, 1.0)
    slow = np.exp(_SLOW * setting.spread * _long_memory(rng, trading.size, base.size))
    load = slow * _sessions(rng, trading.size, base.size) * day[:, None]
    share: Floats = np.minimum(base * load / load[trading].mean(axis=0), _MOST)
    return share


def _long_memory(rng: np.random.Generator, steps: int, count: int) -> Floats:
    frequency = np.fft.rfftfreq(steps)[1:, None]
    shape = (frequency.size, count)
    waves = (rng.normal(size=shape) + 1j * rng.normal(size=shape)) * frequency ** (0.5 - _MEMORY)
    noise = np.fft.irfft(np.vstack([np.zeros((1, count)), waves]), n=steps, axis=0)
    even: Floats = (noise - noise.mean(axis=0)) / noise.std(axis=0)
    return even


def _sessions(rng: np.random.Generator, steps: int, count: int) -> Floats:
    """Return the factor of the session: 2.4 for some 10 minutes, 0.4 for some 25, Pareto tails."""
    factor = np.empty((steps, count))
    for network in range(count):
        at, busy = 0, rng.random() < 0.3
        while at < steps:
            length = max(1, int((1 + rng.pareto(1.3)) * (3 if busy else 7)))
            factor[at : at + length, network] = 2.4 if busy else 0.4
            at, busy = at + length, not busy
    return factor


def _truth(
    rng: np.random.Generator, setting: Setting, store: str, names: list[str], air: _Air
) -> pl.DataFrame:
    trading = air.share[_trading(setting)]
    above = ndtr((air.level_dbm - THRESHOLD_DBM - 0.5) / _STRAY_DB)
    noise = np.exp(rng.normal(0, 0.6, air.burst_ms.size))
    told = np.minimum(air.share.mean(axis=0) * noise, 0.9)
    rows: list[tuple[str, str, int, float, float | None, float | None]] = []
    for station, name in enumerate(names):
        for at, channel in enumerate(CHANNELS):
            near = np.flatnonzero(above[station, :, at] > 1e-4)
            free = np.prod(1 - trading[:, near] * above[station, near, at], axis=1)
            heard = (air.level_dbm[station, :, at] > THRESHOLD_DBM) & air.is_wifi
            inferred = float(1 - np.prod(1 - told[heard])) if setting.surveyed else None
            loudest = float(air.level_dbm[station, heard, at].max()) if heard.any() else None
            known = loudest if setting.surveyed else None
            rows.append((store, name, int(channel), float(1 - free.mean()), inferred, known))
    return pl.DataFrame(rows, schema=_COLUMNS, orient="row")


def _station(
    rng: np.random.Generator, setting: Setting, air: _Air, station: int, name: str
) -> pl.DataFrame:
    open_days = [day for day in range(setting.days) if day % 7 != _SUNDAY]
    latest = max(setting.hours[0] + 0.01, setting.hours[1] - setting.span_s / 3600)
    visits = []
    for day in np.sort(rng.choice(open_days, setting.visits, replace=False)):
        begins = day * 86400 + 3600 * rng.uniform(setting.hours[0], latest)
        visits.append(_visit(rng, setting, air, station, begins))
    return pl.concat(visits).select(pl.lit(name).alias("station"), pl.all())


def _visit(
    rng: np.random.Generator, setting: Setting, air: _Air, station: int, begins_s: float
) -> pl.DataFrame:
    sweeps = setting.readings // setting.visits
    apart_s = setting.span_s / sweeps
    within_s = np.arange(CHANNELS.size) * min(apart_s / (CHANNELS.size + 1), 0.2)
    times_s = begins_s + np.arange(sweeps)[:, None] * apart_s + within_s
    minute = np.minimum((times_s / _STEP_S).astype(int), air.share.shape[0] - 1)
    fast = np.exp(_FAST * _drifting(rng, sweeps, air.burst_ms.size, apart_s) - _FAST**2 / 2)
    share = np.minimum(air.share[minute] * fast[:, None, :], 0.97)
    part = _part(rng, setting, share, air.burst_ms)
    stray = rng.normal(0, _STRAY_DB, part.shape) if setting.statistic != "mean" else 0.7
    level = air.level_dbm[station].T[None] + stray
    mw = 10**-9.6 + (part * 10 ** (level / 10)).sum(axis=2)
    dbm = 10 * np.log10(mw) + rng.normal(0, 1, mw.shape) * (mw < 2e-9)
    stamp = np.datetime64(START, "us") + (times_s * 1e6).astype("timedelta64[us]")
    return pl.DataFrame(
        {
            "scanned_at": stamp.ravel(),
            "channel": np.tile(CHANNELS, sweeps),
            "level_dbm": np.round(dbm).ravel(),
        }
    )


def _drifting(rng: np.random.Generator, steps: int, count: int, apart_s: float) -> Floats:
    keep = np.exp(-apart_s / _FAST_S)
    value, every = rng.normal(size=count), np.empty((steps, count))
    for at in range(steps):
        every[at] = value
        value = keep * value + np.sqrt(1 - keep**2) * rng.normal(size=count)
    return every


def _part(rng: np.random.Generator, setting: Setting, share: Floats, burst_ms: Floats) -> Floats:
    """Return the part of each reading in which a network sends; bursts and silences exponential."""
    on = rng.random(share.shape) < share
    if setting.statistic == "single":
        return on.astype(np.float64)
    silence_ms = burst_ms * (1 - share) / np.maximum(share, 1e-9)
    bursts = rng.poisson(setting.dwell_ms / (silence_ms + burst_ms))
    if setting.statistic == "max":
        return ((bursts > 0) | on).astype(np.float64)
    sent_ms = rng.gamma(np.maximum(bursts, 1), burst_ms, share.shape) * (bursts > 0)
    part: Floats = np.minimum(sent_ms / setting.dwell_ms, 1.0)
    return part
