"""What a chain's stations measure and report at its snapshots."""

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import chain as joined
from typing import TypeVar

from pipeline.demo import air
from pipeline.demo.chain import FIRMWARE_BEFORE, LATEST, SNAPSHOTS
from pipeline.demo.records import (
    AccessPoint,
    ChainSeen,
    DemoSite,
    DemoStore,
    ExportedStation,
    ExportedStore,
    Label,
    Scan,
    StationHeard,
    WifiHeard,
)

_SCANS = 30  # per station and snapshot
_AT_NIGHT = 6  # of the scans
_DAYS_BEFORE = 4  # the scans are taken so long before the snapshot
_NIGHT_TRAFFIC = 0.2  # of the Wi-Fi traffic of the day
_LOWEST_DBM = -99
_LABEL_HEARS_DBM = -88.0
_AUDIBLE_DBM = -92.0
_MOVED_SINCE = 0.08  # of the stations changed their channel between the snapshots
# kinds of labels: share, updates a day, octets an update
LABEL_KINDS = ((0.6, 12, 2600), (0.9, 24, 5200), (1.0, 36, 9000))
_Seen = TypeVar("_Seen")


def observed(seed: int, sites: Sequence[DemoSite], days: Sequence[date] = SNAPSHOTS) -> ChainSeen:
    """Return what the exports of all stores say on some days."""

    def every(rows: Callable[[int, DemoSite, date], Iterator[_Seen]]) -> tuple[_Seen, ...]:
        return tuple(joined.from_iterable(rows(seed, site, day) for day in days for site in sites))

    return ChainSeen(
        seed=seed,
        stores=tuple(ExportedStore(site.plan, day) for day in days for site in sites),
        stations=every(_stations),
        scans=every(scans),
        labels=every(_labels),
        wifi=every(wifi),
        heard=every(heard),
    )


def _stations(seed: int, site: DemoSite, seen_on: date) -> Iterator[ExportedStation]:
    """Yield the stations; before the latest exports, firmware and some channels were others."""
    for station in site.stations:
        if seen_on >= LATEST:
            yield replace(station, seen_on=seen_on)
            continue
        roll = air.dice(seed, station.station, seen_on, "earlier")
        channel = station.channel
        if roll.random() < _MOVED_SINCE:
            channel = roll.choice(site.plan.region.permitted)
        yield replace(station, seen_on=seen_on, channel=channel, firmware=FIRMWARE_BEFORE)


def scans(seed: int, site: DemoSite, seen_on: date) -> Iterator[Scan]:
    """Yield the ED scans of every station, own stations quiet."""
    for index, station in enumerate(site.stations):
        roll = air.dice(seed, station.station, seen_on, "scans")
        bursts = burst_levels(seed, station, site.access_points)
        for moment, traffic in _scan_times(roll, site.plan, seen_on, index):
            levels = tuple(_reading(roll, bursts[c], traffic) for c in air.CHANNELS)
            yield Scan(station.store, station.station, seen_on, moment, levels, own_quiet=True)


def burst_levels(
    seed: int, station: ExportedStation, points: Sequence[AccessPoint]
) -> dict[int, tuple[tuple[float, float], ...]]:
    """Return per channel the Wi-Fi bursts a station meets, as (share of time, level in dBm)."""
    full = [(point, air.wifi_at(seed, station, point)) for point in points]
    return {
        c: tuple((p.utilisation_pct / 100, level + air.spill_db(p, c)) for p, level in full)
        for c in air.CHANNELS
    }


def _scan_times(
    roll: random.Random, plan: DemoStore, seen_on: date, index: int
) -> Iterator[tuple[datetime, float]]:
    """Yield when a station scans, in order, with the share of the day's Wi-Fi traffic then."""
    day = seen_on - timedelta(days=_DAYS_BEFORE)
    start = datetime.combine(day, time(2, index % 50))
    for number in range(_AT_NIGHT):
        later = timedelta(minutes=12 * number, seconds=roll.randint(0, 59))
        yield start + later, _NIGHT_TRAFFIC
    opened = datetime.combine(day, plan.opens) + timedelta(minutes=30)
    open_s = (datetime.combine(day, plan.closes) - opened).total_seconds() - 1800
    by_day = _SCANS - _AT_NIGHT
    for number in range(by_day):
        slot_s = open_s * (number + roll.random()) / by_day
        yield opened + timedelta(seconds=int(slot_s)), 1.0


def _reading(roll: random.Random, bursts: Sequence[tuple[float, float]], traffic: float) -> int:
    levels = [air.NOISE_FLOOR_DBM + roll.gauss(0, 1.1)]
    for share, level in bursts:
        if roll.random() < share * traffic:
            levels.append(level + roll.gauss(0, 1.5))
    return max(_LOWEST_DBM, round(air.power_sum_dbm(levels)))


def _labels(seed: int, site: DemoSite, seen_on: date) -> Iterator[Label]:
    """Yield the shelf labels, each served by the station it hears best."""
    store = site.plan.store
    for number in range(site.plan.labels):
        fixed = air.dice(seed, store, number, "label")
        levels = sorted(_levels_at_label(fixed, site))
        level_dbm, station = levels[-1]
        draw = fixed.random()
        _, updates, octets = next(kind for kind in LABEL_KINDS if draw < kind[0])
        roll = air.dice(seed, store, number, seen_on, "label state")
        yield Label(
            store=store,
            label=f"{store}-L{number + 1:04d}",
            seen_on=seen_on,
            station=station,
            level_dbm=round(level_dbm + roll.gauss(0, 0.8)),
            stations_heard=max(1, sum(level > _LABEL_HEARS_DBM for level, _ in levels)),
            success_pct=round(100 - 4 * roll.random() ** 2, 1),
            last_heard_on=seen_on - timedelta(days=int(2.2 * roll.random())),
            updates_per_day=updates,
            payload_octets=octets,
            listens_on=" ".join(map(str, site.plan.listens_on)),
        )


def _levels_at_label(roll: random.Random, site: DemoSite) -> Iterator[tuple[float, str]]:
    """Put a label anywhere and yield the level in dBm at which it hears each station."""
    floor = min(site.plan.floors - 1, int(roll.random() * site.plan.floors))
    spot = (floor, roll.uniform(0, site.plan.width_m), roll.uniform(0, site.plan.depth_m))
    for station in site.stations:
        loss_db = air.loss_between(spot, air.place(station))
        yield station.tx_power_dbm - loss_db + roll.gauss(0, 2.5), station.station


def wifi(seed: int, site: DemoSite, seen_on: date) -> Iterator[WifiHeard]:
    """Yield the Wi-Fi networks each station hears."""
    for station in site.stations:
        for point in site.access_points:
            level = air.wifi_at(seed, station, point)
            if level > _AUDIBLE_DBM:
                yield WifiHeard(
                    store=station.store,
                    station=station.station,
                    seen_on=seen_on,
                    network=point.network,
                    wifi_channel=point.wifi_channel,
                    width_mhz=point.width_mhz,
                    secondary=point.secondary,
                    level_dbm=round(level),
                    utilisation_pct=point.utilisation_pct,
                )


def heard(seed: int, site: DemoSite, seen_on: date) -> Iterator[StationHeard]:
    """Yield the station-to-station levels of a store that measures them."""
    if not site.plan.measures_neighbours:
        return
    for listener in site.stations:
        for speaker in site.stations:
            level = air.heard_dbm(seed, listener, speaker)
            if speaker != listener and level > _AUDIBLE_DBM:
                names = (listener.station, speaker.station)
                roll = air.dice(seed, *names, seen_on, "heard")
                yield StationHeard(
                    listener.store, *names, seen_on, round(level + roll.gauss(0, 0.7))
                )
