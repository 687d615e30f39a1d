"""The invented chain: regions and twelve shops by name, and any number more for the bench."""

from datetime import date, time

from pipeline.demo.air import dice
from pipeline.demo.records import Region, StorePlan

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

# store, name, region, type, width, depth, floors, stations, labels, Wi-Fi, labels listen on,
# opens, closes, measures neighbours
DEMO_STORES = tuple(
    StorePlan(*row)
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

_SIZES = {
    "convenience": (17.0, 13.0, 1),
    "supermarket": (56.0, 38.0, 1),
    "hypermarket": (90.0, 66.0, 2),
}
_USUAL_COUNTS = {
    "convenience": (2, 3, 150),
    "supermarket": (4, 8, 400),
    "hypermarket": (14, 18, 750),
}
_LARGE, _SMALL = 14, 3


def plan_of(seed: int, number: int, stations: int | None = None, labels: int = 0) -> StorePlan:
    """Return the plan of any store by number: the demo's own first, then plain ones.

    `stations` fixes the count (and with it the type); otherwise type and count are drawn.
    """
    if stations is None and number < len(DEMO_STORES):
        return DEMO_STORES[number]
    roll = dice(seed, number, "plan")
    store_type = _type_of(stations, roll.random())
    if stations is None:
        low, high, labels = _USUAL_COUNTS[store_type]
        stations = roll.randint(low, high)
    width_m, depth_m, floors = _SIZES[store_type]
    region = REGIONS[number % len(REGIONS)]
    points = 2 * floors if store_type != "convenience" else 1
    return StorePlan(
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
    if stations is None:
        bounds = (("convenience", 0.5), ("supermarket", 0.85), ("hypermarket", 1.0))
        return next(name for name, bound in bounds if draw < bound)
    if stations >= _LARGE:
        return "hypermarket"
    return "convenience" if stations <= _SMALL else "supermarket"
