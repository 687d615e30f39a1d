"""The invented chain as built: its regions and stores, and where everything in them hangs.

Twelve stores are the demo's own; any number of others is drawn for the bench.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, time

from pipeline.demo.air import choose_channels, dice
from pipeline.demo.records import (
    AccessPoint,
    DemoSite,
    DemoStore,
    ExportedStation,
    HeardNextDoor,
    Region,
)

CHAIN = "Tannowick"
SEED = 20260930
SNAPSHOTS = (date(2026, 6, 30), date(2026, 9, 30))
EARLIER, LATEST = SNAPSHOTS
FIRMWARE = "3.2.0"
FIRMWARE_BEFORE = "3.1.9"

NORTH = Region("North", "GB", "Europe/London", (11, 15, 20, 25, 26))
MITTE = Region("Mitte", "DE", "Europe/Berlin", (11, 15, 20, 25))
EAST = Region("East", "PL", "Europe/Warsaw", (11, 15, 20, 25, 26))
REGIONS = (NORTH, MITTE, EAST)

_USUAL = (11, 15, 20, 25, 26)
_OLD_LABELS = (11, 15, 25, 26)
_WITH_13 = (11, 13, 15, 20, 25, 26)
_EARLY, _LATE = time(7), time(22)
_SHORT = time(8), time(20)

# In the order of DemoStore's fields.
DEMO_STORES = tuple(
    DemoStore(*row)
    for row in (
        ("N101", "Harrowfen", NORTH, "convenience", 16.0, 12.0, 1, 2, 150,
         (6,), _USUAL, _EARLY, _LATE, False),
        ("N102", "Oldmere Cross", NORTH, "supermarket", 58.0, 38.0, 1, 6, 420,
         (1, 6, 11), _USUAL, _EARLY, _LATE, True),
        ("N103", "Pellwick Green", NORTH, "supermarket", 46.0, 32.0, 1, 5, 340,
         (1, 6), _OLD_LABELS, _EARLY, _LATE, True),
        ("N104", "Stonnerby Retail Park at the Old Canal Basin, Upper and Lower Hall", NORTH,
         "hypermarket", 88.0, 64.0, 2, 16, 720,
         (1, 6, 11, 1, 6, 11), _USUAL, _EARLY, _LATE, True),
        ("M201", "Grünhagelfeld", MITTE, "convenience", 20.0, 15.0, 1, 3, 190,
         (6, 11), _USUAL, *_SHORT, False),
        ("M202", "Tiefenrauth", MITTE, "supermarket", 50.0, 32.0, 1, 4, 330,
         (6, 11), _USUAL, *_SHORT, True),
        ("M203", "Öhrlingsbüttel", MITTE, "supermarket", 64.0, 42.0, 1, 7, 450,
         (1, 6, 11), _USUAL, *_SHORT, True),
        ("M204", "Kaltenbrönn an der Weißen Lohe", MITTE, "hypermarket", 92.0, 68.0, 2, 18, 760,
         (1, 6, 11, 6, 11, 1), _USUAL, *_SHORT, True),
        ("E301", "Łąkożyn Górny", EAST, "supermarket", 48.0, 30.0, 1, 4, 320,
         (1, 6, 11), _USUAL, _EARLY, _LATE, True),
        ("E302", "Wrzosłęk", EAST, "convenience", 15.0, 12.0, 1, 2, 140,
         (11,), _USUAL, _EARLY, _LATE, True),
        ("E303", "Źródlice Stawne", EAST, "supermarket", 66.0, 44.0, 1, 8, 460,
         (1, 6, 11), _WITH_13, _EARLY, _LATE, True),
        ("E304", "Mgławice pod Jodłą", EAST, "hypermarket", 98.0, 70.0, 2, 24, 800,
         (1, 6, 11, 11, 1, 6), _USUAL, _EARLY, _LATE, True),
    )
)  # fmt: skip

OPENING = DemoStore(
    "N105", "Wendlebeck", NORTH, "supermarket", 44.0, 30.0, 1, 5, 0,
    (1, 6), _USUAL, _EARLY, _LATE, False,
)  # fmt: skip
"""A store that opens after the latest snapshot: its stations are planned, nothing is on the air."""

NEXT_DOOR = tuple(
    HeardNextDoor(*row)
    for row in (
        ("N101", "N101-02", "N102", "N102-06", -66),
        ("N102", "N102-06", "N101", "N101-02", -67),
        ("N101", "N101-02", "N102", "N102-05", -72),
        ("N102", "N102-05", "N101", "N101-02", -71),
        ("N101", "N101-01", "N102", "N102-06", -83),
    )
)
"""What stations of two stores in one building hear of one another through the wall."""

# Width and depth in metres, floors, fewest and most stations, labels.
_TYPES = {
    "convenience": (17.0, 13.0, 1, 2, 3, 150),
    "supermarket": (56.0, 38.0, 1, 4, 8, 400),
    "hypermarket": (90.0, 66.0, 2, 14, 18, 750),
}
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
_BY_HABIT = 0.25  # of the stations beyond the demo's are on a channel nobody chose
_NEXT_DOOR_DBM = 6.0  # access points next door lose about 10 dB in the wall


def plan_of(seed: int, number: int, stations: int | None = None, labels: int = 0) -> DemoStore:
    """Return any store by number: the demo's own first, then plain ones.

    `stations` fixes the count and with it the type; otherwise both are drawn.
    """
    if stations is None and number < len(DEMO_STORES):
        return DEMO_STORES[number]
    roll = dice(seed, number, "plan")
    store_type = _type_of(stations, roll.random())
    width_m, depth_m, floors, least, most, usual_labels = _TYPES[store_type]
    if stations is None:
        stations, labels = roll.randint(least, most), usual_labels
    region = REGIONS[number % len(REGIONS)]
    points = 2 * floors if store_type != "convenience" else 1
    return DemoStore(
        store=f"{region.name[0]}{number + 1:05d}",
        name=f"{CHAIN} {region.name} {number + 1}",
        region=region,
        store_type=store_type,
        width_m=round(width_m * roll.uniform(0.9, 1.1), 1),
        depth_m=round(depth_m * roll.uniform(0.9, 1.1), 1),
        floors=floors,
        stations=stations,
        labels=labels,
        wifi_channels=tuple(roll.choice((1, 6, 11)) for _ in range(points)),
        listens_on=_USUAL,
        opens=_EARLY,
        closes=_LATE,
        measures_neighbours=True,
    )


def _type_of(stations: int | None, draw: float) -> str:
    """Return the type that goes with a number of stations, or any by the draw."""
    if stations is None:
        bounds = (("convenience", 0.5), ("supermarket", 0.85), ("hypermarket", 1.0))
        return next(name for name, bound in bounds if draw < bound)
    fewest = (("hypermarket", 14), ("supermarket", 4), ("convenience", 0))
    return next(name for name, least in fewest if stations >= least)


def sites_of(seed: int, stores: int) -> tuple[DemoSite, ...]:
    """Return the stores as built; the demo's own have channels that were chosen."""
    sites, addresses = [], 0
    for number in range(stores):
        plan = plan_of(seed, number)
        sites.append(site_of(seed, plan, addresses, number, chosen=number < len(DEMO_STORES)))
        addresses += plan.stations
    return tuple(sites)


def site_of(
    seed: int, plan: DemoStore, first_address: int, store_number: int, *, chosen: bool = False
) -> DemoSite:
    """Return a store with stations, Wi-Fi and channels: all chosen, or some left out of habit."""
    roll = dice(seed, plan.store, "layout")
    points = tuple(_access_points(roll, plan))
    blank = tuple(_stations(roll, plan, first_address, store_number))
    wanted = [c for c in plan.region.permitted if c in plan.listens_on]
    habit = 0.0 if chosen else _BY_HABIT
    channels = choose_channels(seed, blank, points, wanted)
    stations = tuple(
        replace(s, channel=roll.choice(wanted) if roll.random() < habit else channel)
        for s, channel in zip(blank, channels, strict=True)
    )
    return DemoSite(plan, stations, points)


def _grid(count: int, width_m: float, depth_m: float) -> Iterator[tuple[float, float]]:
    """Yield `count` places spread evenly over a floor, in metres."""
    rows = max(1, round(math.sqrt(count * depth_m / width_m)))
    base, extra = divmod(count, rows)
    for row in range(rows):
        columns = base + (row < extra)
        for column in range(columns):
            yield (column + 0.5) * width_m / columns, (row + 0.5) * depth_m / rows


def _stations(
    roll: random.Random, plan: DemoStore, first_address: int, store_number: int
) -> Iterator[ExportedStation]:
    number = 0
    aisles, (ceiling, wall) = _AISLES[plan.region.country], _MOUNTED[plan.region.country]
    base, extra = divmod(plan.stations, plan.floors)
    for floor in range(plan.floors):
        for x_m, y_m in _grid(base + (floor < extra), plan.width_m, plan.depth_m):
            number += 1
            yield ExportedStation(
                store=plan.store,
                station=f"{plan.store}-{number:02d}",
                seen_on=LATEST,
                name=f"{aisles[(number - 1) % len(aisles)]} {(number - 1) // len(aisles) + 1}",
                mounted=ceiling if roll.random() < _ON_CEILING else wall,
                floor=floor,
                x_m=round(x_m + roll.uniform(-1.5, 1.5), 1),
                y_m=round(y_m + roll.uniform(-1.5, 1.5), 1),
                channel=plan.region.permitted[0],
                pan_id=0x2000 + (store_number * 64 + number) % 0x9000,
                tx_power_dbm=0.0,
                eui64=(_FIRST_EUI64 + first_address + number - 1).to_bytes(8).hex(":"),
                ip_address=f"10.{20 + store_number // 250}.{store_number % 250}.{10 + number}",
                port=4840 + number % 2,
                firmware=FIRMWARE,
                hardware="indoor, two antennas" if plan.floors > 1 else "indoor",
                connected=True,
            )


def _access_points(roll: random.Random, plan: DemoStore) -> Iterator[AccessPoint]:
    """Yield the store's own Wi-Fi, spread over its floors, and one or two networks next door."""
    per_floor = math.ceil(len(plan.wifi_channels) / plan.floors)
    spots = list(_grid(per_floor, plan.width_m, plan.depth_m))
    shop, beside = f"{plan.store.lower()} shop", f"{plan.store.lower()} next door"
    for number, wifi_channel in enumerate(plan.wifi_channels):
        x_m, y_m = spots[number % per_floor]
        spot = (number // per_floor, x_m + roll.uniform(-3, 3), y_m + roll.uniform(-3, 3))
        yield _point(f"{shop} {number + 1}", spot, wifi_channel, 15.0, roll.uniform(4, 12))
    for number in range(roll.randint(1, 2)):
        spot = (0, plan.width_m + roll.uniform(8, 20), roll.uniform(0, plan.depth_m))
        wifi_channel = roll.choice(sorted({6, *plan.wifi_channels}))
        busy_pct = roll.uniform(3, 10)
        yield _point(f"{beside} {number + 1}", spot, wifi_channel, _NEXT_DOOR_DBM, busy_pct)


def _point(
    network: str, spot: tuple[int, float, float], channel: int, power_dbm: float, busy_pct: float
) -> AccessPoint:
    floor, x_m, y_m = spot
    return AccessPoint(
        network=network,
        floor=floor,
        x_m=round(x_m, 1),
        y_m=round(y_m, 1),
        wifi_channel=channel,
        width_mhz=20,
        secondary=None,
        power_dbm=power_dbm,
        utilisation_pct=round(busy_pct, 1),
    )
