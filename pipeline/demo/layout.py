"""Where everything hangs: stations on a jittered grid, access points, addresses and channels."""

import math
import random
from collections.abc import Iterator
from dataclasses import replace

from pipeline.demo.air import choose_channels, dice
from pipeline.demo.chain import FIRMWARE, LATEST
from pipeline.demo.records import AccessPoint, Site, Station, StorePlan

# RFC 9542 section 2.2.3 sets 256 addresses from here aside for documentation; a chain of more
# stations runs on into unassigned ones of the same block, which no device carries either.
_FIRST_EUI64 = 0x00005EEF10000000
# By country, as the store's own staff would write it.
_AISLES = {
    "GB": ("entrance", "bakery", "produce", "dairy", "checkout", "drinks", "household", "freezers"),
    "DE": ("Eingang", "Bäckerei", "Gemüse", "Kühlregal", "Kasse", "Getränke", "Haushalt", "Truhen"),
    "PL": ("wejście", "piekarnia", "warzywa", "nabiał", "kasy", "napoje", "chemia", "mrożonki"),
}
_MOUNTED = {"GB": ("ceiling", "wall"), "DE": ("Decke", "Wand"), "PL": ("sufit", "ściana")}
_ON_CEILING = 0.8  # of the stations
_NEXT_DOOR_DBM = 6.0  # access points next door lose about 10 dB in the wall


def site_of(
    seed: int, plan: StorePlan, first_address: int, store_number: int, habit: float = 0.0
) -> Site:
    """Return a store with stations, Wi-Fi and channels.

    `habit` is the chance that a station was left on a channel out of habit, not by choice.
    """
    roll = dice(seed, plan.store, "layout")
    points = tuple(_access_points(roll, plan))
    blank = tuple(_stations(roll, plan, first_address, store_number))
    wanted = [c for c in plan.region.permitted if c in plan.listens_on]
    channels = choose_channels(seed, blank, points, wanted)
    stations = tuple(
        replace(s, channel=roll.choice(wanted) if roll.random() < habit else channel)
        for s, channel in zip(blank, channels, strict=True)
    )
    return Site(plan, stations, points)


def grid(count: int, width_m: float, depth_m: float) -> Iterator[tuple[float, float]]:
    """Yield `count` places spread evenly over a floor, in metres."""
    rows = max(1, round(math.sqrt(count * depth_m / width_m)))
    base, extra = divmod(count, rows)
    for row in range(rows):
        columns = base + (1 if row < extra else 0)
        for column in range(columns):
            yield (column + 0.5) * width_m / columns, (row + 0.5) * depth_m / rows


def _stations(
    roll: random.Random, plan: StorePlan, first_address: int, store_number: int
) -> Iterator[Station]:
    number = 0
    aisles, mounted = _AISLES[plan.region.country], _MOUNTED[plan.region.country]
    for floor in range(plan.floors):
        base, extra = divmod(plan.stations, plan.floors)
        for x_m, y_m in grid(base + (1 if floor < extra else 0), plan.width_m, plan.depth_m):
            number += 1
            yield Station(
                store=plan.store,
                station=f"{plan.store}-{number:02d}",
                seen_on=LATEST,
                name=f"{aisles[(number - 1) % len(aisles)]} {(number - 1) // len(aisles) + 1}",
                mounted=mounted[0] if roll.random() < _ON_CEILING else mounted[1],
                floor=floor,
                x_m=round(x_m + roll.uniform(-1.5, 1.5), 1),
                y_m=round(y_m + roll.uniform(-1.5, 1.5), 1),
                channel=plan.region.permitted[0],
                pan_id=0x2000 + (store_number * 64 + number) % 0x9000,
                tx_power_dbm=0.0,
                eui64=_eui64(_FIRST_EUI64 + first_address + number - 1),
                ip_address=f"10.{20 + store_number // 250}.{store_number % 250}.{10 + number}",
                port=4840 + number % 2,
                firmware=FIRMWARE,
                hardware="indoor, two antennas" if plan.floors > 1 else "indoor",
                connected=True,
            )


def _eui64(value: int) -> str:
    digits = f"{value:016x}"
    return ":".join(digits[i : i + 2] for i in range(0, 16, 2))


def _access_points(roll: random.Random, plan: StorePlan) -> Iterator[AccessPoint]:
    per_floor = math.ceil(len(plan.wifi_channels) / plan.floors)
    for number, wifi_channel in enumerate(plan.wifi_channels):
        spots = list(grid(per_floor, plan.width_m, plan.depth_m))
        x_m, y_m = spots[number % per_floor]
        yield AccessPoint(
            network=f"{plan.store.lower()} shop {number + 1}",
            floor=number // per_floor,
            x_m=round(x_m + roll.uniform(-3, 3), 1),
            y_m=round(y_m + roll.uniform(-3, 3), 1),
            wifi_channel=wifi_channel,
            width_mhz=20,
            secondary=None,
            power_dbm=15.0,
            utilisation_pct=round(roll.uniform(4, 12), 1),
        )
    for number in range(roll.randint(1, 2)):
        yield AccessPoint(
            network=f"{plan.store.lower()} next door {number + 1}",
            floor=0,
            x_m=round(plan.width_m + roll.uniform(8, 20), 1),
            y_m=round(roll.uniform(0, plan.depth_m), 1),
            wifi_channel=roll.choice(sorted({6, *plan.wifi_channels})),
            width_mhz=20,
            secondary=None,
            power_dbm=_NEXT_DOOR_DBM,
            utilisation_pct=round(roll.uniform(3, 10), 1),
        )
