"""What the stations of a site measure and report at a snapshot."""

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from pipeline.demo import air
from pipeline.demo.chain import FIRMWARE_BEFORE, LATEST
from pipeline.demo.records import (
    AccessPoint,
    Label,
    Scan,
    Site,
    Station,
    StationHeard,
    StorePlan,
    WifiHeard,
)

SCANS = 30  # per station and snapshot
_DAYS_BEFORE = 4  # the scans are taken so long before the snapshot
_IN_TRADING = 24  # of SCANS
_AT_NIGHT = 0.2  # of the Wi-Fi traffic of the day
_LOWEST_DBM = -99
_LABEL_HEARS_DBM = -88.0
_AUDIBLE_DBM = -92.0
_MOVED_SINCE = 0.08  # of the stations changed their channel between the snapshots
# kinds of labels: share, updates a day, octets an update
LABEL_KINDS = ((0.6, 12, 2600), (0.9, 24, 5200), (1.0, 36, 9000))


def stations_seen(seed: int, site: Site, seen_on: date) -> Iterator[Station]:
    """Yield the stations as exported on a day: before the latest, firmware and some channels."""
    for station in site.stations:
        if seen_on == LATEST:
            yield station
            continue
        roll = air.dice(seed, station.station, seen_on, "earlier")
        channel = station.channel
        if roll.random() < _MOVED_SINCE:
            channel = roll.choice(site.plan.region.permitted)
        yield replace(station, seen_on=seen_on, channel=channel, firmware=FIRMWARE_BEFORE)


def scans(seed: int, site: Site, exported_on: date, count: int = SCANS) -> Iterator[Scan]:
    """Yield the ED scans of every station, own stations quiet."""
    for index, station in enumerate(site.stations):
        roll = air.dice(seed, station.station, exported_on, "scans")
        bursts = burst_levels(seed, station, site.access_points)
        for moment, busy in scan_times(roll, site.plan, exported_on, index, count):
            levels = tuple(_reading(roll, bursts[c], busy) for c in air.CHANNELS)
            yield Scan(station.store, station.station, exported_on, moment, levels, own_quiet=True)


def burst_levels(
    seed: int, station: Station, points: Sequence[AccessPoint]
) -> dict[int, tuple[tuple[float, float], ...]]:
    """Return per channel the Wi-Fi bursts a station meets, as (share of time, level in dBm)."""
    full = [(point, air.wifi_at(seed, station, point)) for point in points]
    return {
        c: tuple((p.utilisation_pct / 100, level + air.spill_db(p, c)) for p, level in full)
        for c in air.CHANNELS
    }


def scan_times(
    roll: random.Random, plan: StorePlan, exported_on: date, index: int, count: int
) -> Iterator[tuple[datetime, float]]:
    """Yield when a station scans, in order, with the share of the day's Wi-Fi traffic then."""
    day = exported_on - timedelta(days=_DAYS_BEFORE)
    nights = count - count * _IN_TRADING // SCANS
    start = datetime.combine(day, time(2, index % 50))
    for number in range(nights):
        yield start + timedelta(minutes=12 * number, seconds=roll.randint(0, 59)), _AT_NIGHT
    opened = datetime.combine(day, plan.opens) + timedelta(minutes=30)
    open_s = (datetime.combine(day, plan.closes) - opened).total_seconds() - 1800
    for number in range(count - nights):
        slot_s = open_s * (number + roll.random()) / (count - nights)
        yield opened + timedelta(seconds=int(slot_s)), 1.0


def _reading(roll: random.Random, bursts: Sequence[tuple[float, float]], busy: float) -> int:
    levels = [air.NOISE_FLOOR_DBM + roll.gauss(0, 1.1)]
    for share, level in bursts:
        if roll.random() < share * busy:
            levels.append(level + roll.gauss(0, 1.5))
    return max(_LOWEST_DBM, round(air.power_sum_dbm(levels)))


def labels(seed: int, site: Site, seen_on: date) -> Iterator[Label]:
    """Yield the shelf labels, each served by the station it hears best."""
    for number in range(site.plan.labels):
        fixed = air.dice(seed, site.plan.store, number, "label")
        floor = min(site.plan.floors - 1, int(fixed.random() * site.plan.floors))
        x_m, y_m = fixed.uniform(0, site.plan.width_m), fixed.uniform(0, site.plan.depth_m)
        heard = sorted(
            (
                s.tx_power_dbm
                - air.loss_between((floor, x_m, y_m), air.place(s))
                + fixed.gauss(0, 2.5),
                s.station,
            )
            for s in site.stations
        )
        draw = fixed.random()
        _, updates, octets = next(kind for kind in LABEL_KINDS if draw < kind[0])
        roll = air.dice(seed, site.plan.store, number, seen_on, "label state")
        yield Label(
            store=site.plan.store,
            label=f"{site.plan.store}-L{number + 1:04d}",
            seen_on=seen_on,
            station=heard[-1][1],
            level_dbm=round(heard[-1][0] + roll.gauss(0, 0.8)),
            stations_heard=max(1, sum(level > _LABEL_HEARS_DBM for level, _ in heard)),
            success_pct=round(100 - 4 * roll.random() ** 2, 1),
            last_heard_on=seen_on - timedelta(days=int(2.2 * roll.random())),
            updates_per_day=updates,
            payload_octets=octets,
            channels=site.plan.listens_on,
        )


def wifi(seed: int, site: Site, seen_on: date) -> Iterator[WifiHeard]:
    """Yield the Wi-Fi networks each station hears."""
    for station in site.stations:
        for point in site.access_points:
            level = air.wifi_at(seed, station, point)
            if level > _AUDIBLE_DBM:
                yield WifiHeard(
                    station.store,
                    station.station,
                    seen_on,
                    point.network,
                    point.wifi_channel,
                    point.width_mhz,
                    point.secondary,
                    round(level),
                    point.utilisation_pct,
                )


def heard(seed: int, site: Site, seen_on: date) -> Iterator[StationHeard]:
    """Yield the station-to-station levels of a store that measures them."""
    if not site.plan.measures_neighbours:
        return
    for listener in site.stations:
        for speaker in site.stations:
            level = air.heard_dbm(seed, listener, speaker)
            if speaker != listener and level > _AUDIBLE_DBM:
                roll = air.dice(seed, listener.station, speaker.station, seen_on, "heard")
                yield StationHeard(
                    listener.store,
                    listener.station,
                    speaker.station,
                    seen_on,
                    round(level + roll.gauss(0, 0.7)),
                )
