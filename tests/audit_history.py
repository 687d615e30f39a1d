"""An invented past: eight quarters of a chain, with a known list of what went astray in them.

The list is written down as each event is made up, from what the event is; nothing here knows how
the audit tells one from another. Every event has a station, or a store, of its own.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random

from pipeline.tables.run import Exemption

# The last day of 2024-Q1 is the last Sunday of March: clocks go forward in Europe in its night.
QUARTERS = tuple(f"{year}-Q{number}" for year in (2023, 2024, 2025) for number in (1, 2, 3, 4))[
    3:11
]
FIRST = 0
LAST = len(QUARTERS) - 1
ZONES = {
    "North": ("GB", "Europe/London"),
    "Mitte": ("DE", "Europe/Berlin"),
    "East": ("PL", "Europe/Warsaw"),
}
APPROVER = "T. Aldervane"
CHANNELS = (11, 15, 20, 25, 26)
TYPES = ("convenience", "supermarket", "hypermarket")
Row = tuple[str, str, str, str, str, str | None, str | None, str | None]
"""Quarter, store, subject, field, kind, agreed, found, and whether it was ordered."""
_BY_ORDER = {"approved change": "as ordered", "deviation": "excepted", "unseen": None}


def first_day(quarter: int) -> date:
    """Return the first day of a quarter by its number in QUARTERS."""
    year, number = QUARTERS[quarter].split("-Q")
    return date(int(year), 3 * int(number) - 2, 1)


def last_day(quarter: int) -> date:
    """Return the last day of a quarter."""
    return first_day(quarter + 1) - timedelta(1) if quarter < LAST else date(2025, 9, 30)


def export_days(quarter: int) -> tuple[date, ...]:
    """Return the days of a quarter's exports: the middle and the end of every month."""
    days, day = [], first_day(quarter)
    while day <= last_day(quarter):
        if day.day == 15 or (day + timedelta(1)).day == 1:
            days.append(day)
        day += timedelta(1)
    return tuple(days)


@dataclass
class Station:
    """A station with what every export says of it from a day on."""

    store: str
    station: str
    facts: dict[str, object]
    edits: list[tuple[date, dict[str, object] | None]] = field(default_factory=list)
    begins: date = date.min

    def on(self, day: date) -> dict[str, object] | None:
        """Return its line in the export of a day; None where it is not listed."""
        if day < self.begins:
            return None
        facts: dict[str, object] | None = dict(self.facts)
        for since, edit in self.edits:
            if since <= day:
                facts = None if edit is None else {**(facts or self.facts), **edit}
        return facts


@dataclass
class Change:
    """A change of the register and its events: state, moment on the store's own clock, by whom.

    `ordered` is the channel approved where it is another than proposed.
    """

    change: str
    store: str
    station: str
    from_channel: int
    to_channel: int
    events: list[tuple[str, datetime, str]]
    ordered: int | None = None


@dataclass
class History:
    """Everything that happens, and the rows an audit must give for it."""

    regions: dict[str, str] = field(default_factory=dict)
    stations: list[Station] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    exceptions: list[tuple[date, Exemption]] = field(default_factory=list)
    silent: set[tuple[str, int]] = field(default_factory=set)  # store, quarter without export
    late: set[tuple[str, date]] = field(default_factory=set)  # exports that come a quarter late
    approvals: list[tuple[str, date]] = field(default_factory=list)
    expected: list[Row] = field(default_factory=list)
    events: Counter[str] = field(default_factory=Counter)

    def expect(
        self,
        quarters: range,
        station: Station,
        what: str,
        kind: str,
        *values: object,
        by_order: str | None = None,
    ) -> None:
        """Write down a row for some quarters; `values` are agreed and found."""
        agreed, found = (None if value is None else str(value) for value in values)
        subject = str(station.station)
        by_order = by_order or _BY_ORDER.get(kind, "not ordered")
        for quarter in quarters:
            self.expected.append(
                (QUARTERS[quarter], station.store, subject, what, kind, agreed, found, by_order)
            )


Event = Callable[["_Maker", Station, int], None]


def history(stores: int = 60, events: int = 400, seed: int = 7) -> History:
    """Make up the past of a chain of `stores` stores of eight stations with `events` events."""
    maker = _Maker(History(), Random(seed))
    for number in range(stores):
        maker.store(number)
    special = maker.whole_stores(events) if events else 0
    maker.fill(events - special)
    return maker.past


class _Maker:
    """Makes up events one after another, each on a station nothing else happens to."""

    def __init__(self, past: History, roll: Random) -> None:
        self.past, self.roll = past, roll
        self.free: list[Station] = []
        self.number = 0

    def store(self, number: int) -> None:
        region = tuple(ZONES)[number % 3]
        store = f"{region[0]}{number + 1:03}"
        self.past.regions[store] = region
        self.past.approvals.append((store, export_days(FIRST)[0]))
        for n in range(1, 9):
            station = Station(store, f"{store}-{n:02}", self._facts(number, n))
            self.past.stations.append(station)
            self.free.append(station)

    def _facts(self, number: int, n: int) -> dict[str, object]:
        return {
            "name": f"aisle {n}", "mounted": "ceiling", "floor": 0, "x_m": 4.5 * n,
            "y_m": 3.0 * (n % 3), "channel": CHANNELS[(number + n) % 5],
            "pan_id": 0x2000 + 16 * number + n,
            "tx_power_dbm": 0.0, "eui64": f"00005eef1{number:05x}{n:02x}", "port": 4840,
            "ip_address": f"10.{number // 250}.{number % 250}.{n}", "firmware": "3.2.0",
            "hardware": "indoor",
        }  # fmt: skip

    def whole_stores(self, events: int) -> int:
        """Make up what concerns whole stores: no exports, and a baseline approved anew."""
        done = 0
        names = sorted(self.past.regions)[: max(2, min(12, events // 30))]
        for place, store in enumerate(names):
            own = [s for s in self.free if s.store == store]
            self.free = [s for s in self.free if s.store != store]
            if place % 2:
                done += self._approved_anew(own)
            else:
                done += self._no_exports(own)
        return done

    def _no_exports(self, own: list[Station]) -> int:
        """Let a store fall silent for a quarter; what stands astray in it cannot be told then."""
        quarter = self.roll.randint(2, LAST - 1)
        self.past.silent.add((own[0].store, quarter))
        self.past.events["unseen"] += 1
        for station in own:
            self.past.expect(range(quarter, quarter + 1), station, "station", "unseen",
                             station.station, None)  # fmt: skip
        for station in own[:3]:
            wanted = station.facts["firmware"]
            station.edits.append((self.day(1), {"firmware": "3.9.1"}))
            for part in (range(1, quarter), range(quarter + 1, LAST + 1)):
                self.past.expect(part, station, "firmware", "drift", wanted, "3.9.1")
            self.past.events["drift"] += 1
        return 4

    def _approved_anew(self, own: list[Station]) -> int:
        """Let stations drift, and have the whole store approved as found, then or a quarter later.

        One is put on a channel other than ordered; that stays told when it is approved.
        """
        quarter = self.roll.randint(1, LAST - 1)
        approved = quarter + self.roll.randint(0, 1)
        before, then = range(quarter, approved), range(approved, approved + 1)
        self.past.approvals.append((own[0].store, last_day(approved)))
        for station in own[:4]:
            port, late = station.facts["port"], "approved afterwards"
            station.edits.append((self.day(quarter), {"port": 4999}))
            self.past.expect(before, station, "port", "drift", port, 4999)
            self.past.expect(then, station, "port", late, port, 4999)
            self.past.events["approved anew"] += 1
        to = _put_elsewhere(self, own[4], quarter)
        how = {"by_order": "done differently"}
        self.past.expect(before, own[4], "channel", "drift", to, 14, **how)
        self.past.expect(then, own[4], "channel", "approved afterwards", to, 14, **how)
        self.past.events["approved anew"] += 1
        return 5

    def fill(self, events: int) -> None:
        """Make up the rest, one kind after the other, over all quarters but the first."""
        self.roll.shuffle(self.free)
        makers: tuple[Event, ...] = (
            _drift, _approved, _deviation, _replaced, _new, _gone, _reverted, _back, _renamed,
            _last_night, _last_evening, _done_differently, _backed_out, _deviation_runs_out, _late,
            _swapped, _not_stated, _ordered_elsewhere, _undone_later,
        )  # fmt: skip
        for count in range(events):
            event = makers[count % len(makers)]
            event(self, self.free.pop(), 1 + self.roll.randrange(LAST))
            self.past.events[event.__name__.strip("_")] += 1

    def day(self, quarter: int) -> date:
        """Return an export's day in a quarter, not its last two."""
        return self.roll.choice(export_days(quarter)[:-2])

    def change(
        self,
        station: Station,
        to_channel: int,
        events: list[tuple[str, datetime]],
        ordered: int | None = None,
    ) -> None:
        """Register a change; it is proposed and approved ten and eight days before what follows."""
        self.number += 1
        first = events[0][1]
        head = [
            ("proposed", first - timedelta(10), "quietaisle"),
            ("approved", first - timedelta(8), APPROVER),
        ]
        was = station.facts["channel"]
        assert isinstance(was, int)
        tail = [(state, at, "crew") for state, at in events]
        self.past.changes.append(
            Change(
                f"C{self.number:05}",
                station.store,
                station.station,
                was,
                to_channel,
                head + tail,
                ordered,
            )
        )

    def other_channel(self, station: Station) -> int:
        """Return a channel the station is not on."""
        return self.roll.choice([c for c in CHANNELS if c != station.facts["channel"]])


def _at(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute))


_DRIFTS: tuple[tuple[str, dict[str, object], str, str], ...] = (
    ("channel", {"channel": 13}, "", "13"),
    ("pan_id", {"pan_id": 0x7ABC}, "", "0x7ABC"),
    ("tx_power_dbm", {"tx_power_dbm": 6.5}, "0", "6.5"),
    ("ip_address", {"ip_address": "10.99.0.7"}, "", "10.99.0.7"),
    ("port", {"port": 5000}, "4840", "5000"),
    ("firmware", {"firmware": "3.1.9"}, "3.2.0", "3.1.9"),
    ("name", {"name": "bakery"}, "", "bakery"),
    ("mounted", {"mounted": "wall"}, "ceiling", "wall"),
    ("hardware", {"hardware": "outdoor"}, "indoor", "outdoor"),
    ("place", {"floor": 1}, "", ""),
)


def _agreed(station: Station, what: str, text: str) -> str:
    if what == "pan_id":
        return f"0x{station.facts['pan_id']:04X}"
    return text or str(station.facts[what])


def _place(station: Station, floor: int) -> str:
    return f"{floor} / {station.facts['x_m']:g} / {station.facts['y_m']:g}"


def _astray(maker: _Maker, station: Station, quarter: int) -> tuple[str, str, str]:
    """Let one field of a station go astray in a quarter; return field, agreed and found."""
    what, edit, agreed, found = maker.roll.choice(_DRIFTS)
    station.edits.append((maker.day(quarter), edit))
    if what == "place":
        return what, _place(station, 0), _place(station, 1)
    return what, _agreed(station, what, agreed), found


def _drift(maker: _Maker, station: Station, quarter: int) -> None:
    what, agreed, found = _astray(maker, station, quarter)
    maker.past.expect(range(quarter, LAST + 1), station, what, "drift", agreed, found)


def _approved(maker: _Maker, station: Station, quarter: int) -> None:
    to, days = maker.other_channel(station), export_days(quarter)
    station.edits.append((days[2], {"channel": to}))
    maker.change(
        station, to,
        [("implemented", _at(days[2] - timedelta(1), 23)), ("verified", _at(days[3], 0))],
    )  # fmt: skip
    maker.past.expect(range(quarter, quarter + 1), station, "channel", "approved change", to, to)


def _last_evening(maker: _Maker, station: Station, quarter: int) -> None:
    """Change before midnight of the last day; that day's export has it, verified next quarter."""
    quarter = min(quarter, LAST - 1)
    to = maker.other_channel(station)
    station.edits.append((last_day(quarter), {"channel": to}))
    maker.change(
        station, to,
        [("implemented", _at(last_day(quarter), 23, 40)),
         ("verified", _at(export_days(quarter + 1)[0], 0))],
    )  # fmt: skip
    was = station.facts["channel"]
    maker.past.expect(range(quarter, quarter + 1), station, "channel", "approved change", was, to)


def _last_night(maker: _Maker, station: Station, quarter: int) -> None:
    """Change after midnight of the last night, in the hour the clocks skip or after it."""
    quarter = min(quarter, LAST - 1)
    to, after = maker.other_channel(station), first_day(quarter + 1)
    station.edits.append((after, {"channel": to}))
    maker.change(
        station, to,
        [("scheduled", _at(last_day(quarter) - timedelta(3), 9)),
         ("implemented", _at(after, 0, 40)),
         ("verified", _at(export_days(quarter + 1)[0], 0))],
    )  # fmt: skip
    maker.past.expect(
        range(quarter + 1, quarter + 2), station, "channel", "approved change", to, to
    )


def _put_elsewhere(maker: _Maker, station: Station, quarter: int) -> int:
    """Order a channel and have the station put on another; return the channel ordered."""
    to, day = maker.other_channel(station), maker.day(quarter)
    maker.change(station, to, [("implemented", _at(day - timedelta(1), 23))])
    station.edits.append((day, {"channel": 14}))
    return to


def _done_differently(maker: _Maker, station: Station, quarter: int) -> None:
    to = _put_elsewhere(maker, station, quarter)
    maker.past.expect(
        range(quarter, LAST + 1), station, "channel", "drift", to, 14, by_order="done differently"
    )


def _ordered_elsewhere(maker: _Maker, station: Station, quarter: int) -> None:
    """Approve another channel than proposed; the station is put on it."""
    days = export_days(quarter)
    station.edits.append((days[2], {"channel": 16}))
    maker.change(
        station, maker.other_channel(station),
        [("implemented", _at(days[2] - timedelta(1), 23)), ("verified", _at(days[3], 0))],
        ordered=16,
    )  # fmt: skip
    maker.past.expect(range(quarter, quarter + 1), station, "channel", "approved change", 16, 16)


def _undone_later(maker: _Maker, station: Station, quarter: int) -> None:
    """Carry a change out, and undo it in the next quarter before it was verified."""
    quarter = min(quarter, LAST - 1)
    to, was = maker.other_channel(station), station.facts["channel"]
    done, undone = export_days(quarter)[2], export_days(quarter + 1)[2]
    station.edits += [(done, {"channel": to}), (undone, {"channel": was})]
    maker.change(
        station, to,
        [("implemented", _at(done - timedelta(1), 23)),
         ("backed out", _at(undone - timedelta(1), 23))],
    )  # fmt: skip
    ordered = range(quarter, quarter + 1)
    maker.past.expect(ordered, station, "channel", "approved change", was, to)
    after = range(quarter + 1, quarter + 2)
    maker.past.expect(after, station, "channel", "reverted", was, was, by_order="undone")


def _backed_out(maker: _Maker, station: Station, quarter: int) -> None:
    to, days, was = maker.other_channel(station), export_days(quarter), station.facts["channel"]
    station.edits += [(days[1], {"channel": to}), (days[3], {"channel": was})]
    maker.change(
        station, to,
        [("implemented", _at(days[1] - timedelta(1), 23)),
         ("backed out", _at(days[3] - timedelta(1), 23))],
    )  # fmt: skip
    maker.past.expect(
        range(quarter, quarter + 1), station, "channel", "changed and changed back", was, was,
        by_order="undone",
    )  # fmt: skip


def _except(maker: _Maker, station: Station, rule: str, since: date, until: date) -> None:
    maker.past.exceptions.append(
        (since, Exemption(rule, station.store, station.station, "trial", APPROVER, until))
    )


def _deviation(maker: _Maker, station: Station, quarter: int) -> None:
    what, agreed, found = _astray(maker, station, quarter)
    rule = f"drift-{what.replace('_', '-')}"
    _except(maker, station, rule, last_day(quarter), date(2030, 1, 1))
    maker.past.expect(range(quarter, LAST + 1), station, what, "deviation", agreed, found)


def _deviation_runs_out(maker: _Maker, station: Station, quarter: int) -> None:
    quarter = min(quarter, LAST - 1)
    station.edits.append((maker.day(quarter), {"channel": 12}))
    was = station.facts["channel"]
    _except(maker, station, "channel-not-permitted", last_day(quarter), last_day(quarter))
    maker.past.expect(range(quarter, quarter + 1), station, "channel", "deviation", was, 12)
    maker.past.expect(range(quarter + 1, LAST + 1), station, "channel", "drift", was, 12)


def _replaced(maker: _Maker, station: Station, quarter: int) -> None:
    address = f"00005eef2{maker.roll.randrange(16**7):07x}"
    station.edits.append((maker.day(quarter), {"eui64": address, "hardware": "indoor mark two"}))
    quarters = range(quarter, LAST + 1)
    kind = "replaced hardware"
    maker.past.expect(quarters, station, "eui64", kind, station.facts["eui64"], address)
    maker.past.expect(quarters, station, "hardware", kind, "indoor", "indoor mark two")


def _swapped(maker: _Maker, station: Station, quarter: int) -> None:
    """Exchange the hardware of two stations of a store; names and places stay."""
    others = [s for s in maker.free if s.store == station.store]
    if not others:
        _replaced(maker, station, quarter)
        return
    maker.free.remove(others[0])
    day = maker.day(quarter)
    for one, two in ((station, others[0]), (others[0], station)):
        one.edits.append((day, {"eui64": two.facts["eui64"]}))
        maker.past.expect(
            range(quarter, LAST + 1), one, "eui64", "replaced hardware",
            one.facts["eui64"], two.facts["eui64"],
        )  # fmt: skip


def _new(maker: _Maker, station: Station, quarter: int) -> None:
    """Add a station; the one drawn stays as it is and gives store and facts."""
    facts = {**station.facts, "eui64": f"00005eef3{maker.roll.randrange(16**7):07x}"}
    added = Station(station.store, f"{station.station}-N", facts, begins=maker.day(quarter))
    maker.past.stations.append(added)
    quarters = range(quarter, LAST + 1)
    maker.past.expect(quarters, added, "station", "new", None, added.station)


def _gone(maker: _Maker, station: Station, quarter: int) -> None:
    station.edits.append((maker.day(quarter), None))
    quarters = range(quarter, LAST + 1)
    maker.past.expect(quarters, station, "station", "gone", station.station, None)


def _reverted(maker: _Maker, station: Station, quarter: int) -> None:
    quarter = min(quarter, LAST - 1)
    what, agreed, found = _astray(maker, station, quarter)
    station.edits.append((maker.day(quarter + 1), dict(station.facts)))
    maker.past.expect(range(quarter, quarter + 1), station, what, "drift", agreed, found)
    quarters = range(quarter + 1, quarter + 2)
    maker.past.expect(quarters, station, what, "reverted", agreed, agreed)


def _back(maker: _Maker, station: Station, quarter: int) -> None:
    what, agreed, _ = _astray(maker, station, quarter)
    station.edits.append((export_days(quarter)[-2], dict(station.facts)))
    maker.past.expect(
        range(quarter, quarter + 1), station, what, "changed and changed back", agreed, agreed
    )


def _renamed(maker: _Maker, station: Station, quarter: int) -> None:
    old, new = station.station, f"{station.station}-R"
    station.edits.append((maker.day(quarter), {"station": new}))
    for q in range(quarter, LAST + 1):
        maker.past.expected.append(
            (QUARTERS[q], station.store, new, "station", "renamed", old, new, "not ordered")
        )


def _late(maker: _Maker, station: Station, quarter: int) -> None:
    """Drift that only the quarter's last export shows; that export comes a quarter late."""
    quarter = min(quarter, LAST - 1)
    day = last_day(quarter)
    station.edits.append((day, {"tx_power_dbm": 9.0}))
    maker.past.late.add((station.store, day))
    maker.past.expect(range(quarter, LAST + 1), station, "tx_power_dbm", "drift", "0", "9")


def _not_stated(maker: _Maker, station: Station, quarter: int) -> None:
    """Exports that leave a value out tell nothing about it: no row."""
    station.edits.append((maker.day(quarter), {"firmware": None, "mounted": None}))


def seen_rows(past: History, day: date) -> Iterator[dict[str, object]]:
    """Yield the lines of all stations exports of a day."""
    quarter = next(q for q in range(LAST + 1) if first_day(q) <= day <= last_day(q))
    for station in past.stations:
        facts = None if (station.store, quarter) in past.silent else station.on(day)
        if facts is not None:
            row = {"store": station.store, "station": station.station, "seen_on": day, **facts}
            yield row
