"""Invented stores for the report tests, the extremes of a layout among them."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

import polars as pl
from empty import new_database

from pipeline.database import Database

SEEN = date(2026, 9, 30)
SCANNED_AT = datetime(2026, 9, 29, 22, 15)
RUN = "r1"
PERMITTED = (11, 15, 20, 25, 26)
Rows = list[dict[str, Any]]


@dataclass
class Invented:
    """The tables being filled; a fixed recurrence stands for chance."""

    tables: dict[str, Rows] = field(default_factory=dict)
    state: int = 7

    def add(self, table: str, **row: object) -> None:
        """Keep one row of a table."""
        self.tables.setdefault(table, []).append(row)

    def chance(self) -> float:
        """Return the next number in 0..1 (Lehmer's generator, as published by Park and Miller)."""
        self.state = self.state * 48271 % 2147483647
        return self.state / 2147483647


def invent(
    into: Invented,
    store: str,
    *,
    name: str = "Quay Street",
    region: str = "North",
    country: str | None = "GB",
    stations: int = 8,
    moved: int = 3,
    floors: int = 1,
    coordinates: bool = True,
    surveyed: bool = True,
    planned: bool = True,
    findings: int = 6,
    station_name: str = "Aisle {n}",
    reason: str = "channel {f} is busy {b} % of the time; channel {t} is free and unshared",
) -> None:
    """Add one store of so many stations, moves and findings."""
    into.add(
        "store_seen", store=store, seen_on=SEEN, name=name, region=region, country=country,
        store_type="supermarket", time_zone="Europe/London",
    )  # fmt: skip
    for channel in PERMITTED:
        into.add("permitted_channel", store=store, channel=channel)
    ids = [f"{store}-{n:02}" for n in range(1, stations + 1)]
    channels = [PERMITTED[n % 3] for n in range(stations)]
    finals = [25 if n < moved else c for n, c in enumerate(channels)]
    for n, station in enumerate(ids):
        _station(
            into, station, n, channels[n],
            station_name=station_name, floors=floors, coordinates=coordinates,
        )  # fmt: skip
        _air(into, store, station, surveyed)
        if planned:
            _planned(into, store, station, channels[n], finals[n])
    _links(into, store, ids)
    if planned:
        _moves(into, store, ids[:moved], channels, reason)
        into.add(
            "plan_proof", store=store, cost=4.2, bound=4.2 if stations < 30 else 3.9,
            optimal=stations < 30, cost_now=7.9, solver="toulbar2", order_proven=True,
            worst_step=6.1,
        )  # fmt: skip
    else:
        into.add("unplanned_store", store=store, reason="no station has a permitted channel.")
    for n in range(findings):
        severity = ("stop", "fix", "watch", "note")[n % 4]
        into.add(
            "finding", run=RUN, rule=("channel-shared", "survey-stale")[n % 2], severity=severity,
            store=store, subject=f"{store}-{n % max(1, stations) + 1:02}",
            detail=f"finding {n} says what was met, where, and what to do about it in plain words",
            excepted="agreed until the refit" if n % 5 == 4 else None,
        )  # fmt: skip


def _station(into: Invented, station: str, n: int, channel: int, **of: Any) -> None:  # noqa: ANN401 - the properties `invent` takes
    store = station.rpartition("-")[0]
    into.add(
        "station_seen", store=store, station=station, seen_on=SEEN,
        name=of["station_name"].format(n=n + 1),
        mounted=f"ceiling above shelf {n + 1}", floor=n % of["floors"],
        x_m=round(60 * into.chance(), 1) if of["coordinates"] else None,
        y_m=round(35 * into.chance(), 1) if of["coordinates"] else None,
        channel=channel, pan_id=4096 + n, tx_power_dbm=4.0, eui64=f"02000000000000{n:02x}",
        ip_address=f"10.0.0.{n + 1}", port=4711, firmware="2.4.1", hardware="A",
        connected=n % 7 != 3,
    )  # fmt: skip
    into.add(
        "station_load", store=store, station=station, labels=300 + 37 * (n % 5),
        weak_labels=n % 4, silent_labels=n % 3, lone_labels=2 * n, air_share=0.08, weight=1.0,
    )  # fmt: skip


def _air(into: Invented, store: str, station: str, surveyed: bool) -> None:
    for channel in range(11, 27):
        busy = round(into.chance() ** 2, 4)
        source = "measured" if surveyed and channel != 13 else "inferred" if surveyed else "absent"
        measured = source == "measured"
        into.add(
            "ed_evidence", store=store, station=station, channel=channel,
            readings=50 if measured else 0, visits=2 if measured else 0,
            busy_estimate=busy if surveyed else None,
            busy_low=round(0.8 * busy, 4) if surveyed else None,
            busy_high=round(min(1.0, 1.2 * busy), 4) if surveyed else None,
            expected_cost=0.1, a=1.0, b=9.0,
            one_moment=False, mean_dbm=-71.25 if measured else None,
            p50_dbm=-80.5 if measured else None, p90_dbm=-66.0 if measured else None,
            p99_dbm=-58.125 if measured else None, own_traffic=measured and channel == 20,
            worth=50.0, source=source, newest_at=SCANNED_AT if measured else None,
            basis="50 readings of two scans" if measured else "no scan covers this channel",
        )  # fmt: skip


def _planned(into: Invented, store: str, station: str, channel: int, final: int) -> None:
    now = round(0.2 + 0.5 * into.chance(), 4)
    into.add(
        "station_plan", store=store, station=station, channel_now=channel, channel_planned=final,
        clear_air_now=now, clear_air_planned=round(min(0.97, now + 0.25), 4) if final != channel
        else now, busy_now=0.4, busy_planned=0.1, source_planned="measured",
        next_best_channel=26, next_best_cost=0.4, kept=0.85, sureness="high",
        reason=f"channel {final} leaves it the most clear air of the permitted channels",
    )  # fmt: skip


def _moves(into: Invented, store: str, moved: list[str], channels: list[int], reason: str) -> None:
    for n, station in enumerate(moved):
        parking = n == 0 and len(moved) > 1
        into.add(
            "move", store=store, station=station, from_channel=channels[n],
            to_channel=26 if parking else 25, position=n + 1, parking=parking,
            clear_air_before=0.31, clear_air_after=0.82,
            reason=reason.format(f=channels[n], t=25, b=41),
        )  # fmt: skip
    if len(moved) > 1:
        into.add(
            "move", store=store, station=moved[0], from_channel=26, to_channel=25,
            position=len(moved) + 1, parking=False, clear_air_before=0.31, clear_air_after=0.82,
            reason="back from parking, now that its final channel is free",
        )  # fmt: skip


def changed(into: Invented, station: str, seq: int, **labels: Any) -> None:  # noqa: ANN401 - columns of change_labels
    """Add a change of before to channel 25, verified, with what became of its labels."""
    store, change = station.rpartition("-")[0], f"c-{station}"
    key = {"store": store, "station": station, "change": change}
    into.add(
        "change", **key, plan=f"p-{store}", from_channel=11, to_channel=25, position=1,
        parking=False, clear_air_before=0.4, clear_air_after=0.8, labels=300, sureness="high",
        proposed_by="R. Quellbach", proposed_on=SEEN,
    )  # fmt: skip
    for place, state in enumerate(("approved", "implemented", "verified")):
        at = SCANNED_AT.replace(day=1 + place)
        into.add(
            "change_event", seq=seq + place, change=change, state=state, at=at, by="A", note=""
        )
    counts = {"labels_unsaid": 0, "labels_elsewhere": 0, "labels_compared": 300}
    listed = {"labels_due": 300, "labels_listed": 300, "labels_back": 300, "told_on": SEEN}
    shares = dict.fromkeys(
        ("success_before", "success_after", "success_gained", "success_gained_low",
         "success_gained_high")
    )  # fmt: skip
    row = {**key, **counts, **listed, **shares, "since": SCANNED_AT.date(), **labels}
    into.add("change_labels", **row)


def _links(into: Invented, store: str, ids: list[str]) -> None:
    for i, station in enumerate(ids):
        for j, neighbour in enumerate(ids):
            if i != j and abs(i - j) <= 6:
                hit = 0.9 if abs(i - j) <= 3 else 0.2
                into.add(
                    "earshot", store=store, station=station, neighbour=neighbour,
                    heard_dbm=-60.0 - abs(i - j), spread_db=7.0, source="modelled",
                    distance_m=10.0, hit_co=hit, hit_adjacent=0.1, hit_alternate=0.01,
                )  # fmt: skip
    for n, (channel, level) in enumerate(((1, -52.0), (6, -61.5), (6, -70.0), (11, -48.0))):
        into.add(
            "wifi_seen", store=store, station=None, seen_on=SEEN, network=f"net{n}",
            wifi_channel=channel, width_mhz=20, secondary=None, level_dbm=level,
            utilisation_pct=30.0,
        )  # fmt: skip


def extremes() -> Invented:
    """Return stores that stretch every part of the layout."""
    into = Invented()
    invent(into, "S001")
    invent(into, "S002", name="Kleiner Markt Füßen", region="Mitte", country="DE",
           stations=1, moved=1, findings=0)  # fmt: skip
    invent(into, "S003", name="Plains Crossing", region="West", country="US", stations=60, moved=40)
    invent(into, "S004", name="Am Graben", region="Mitte", country="AT", moved=0, stations=5)
    invent(into, "S005", name="Łódź Źródlana Супермаркет Ωμέγα", region="East", country="PL",
           coordinates=False, stations=9)  # fmt: skip
    invent(into, "S006", name="Unplanned", surveyed=False, planned=False, moved=0)
    invent(into, "S007", name="Fault Lane", findings=100, stations=14, moved=14)
    invent(into, "S008", name="=2+3 " + "An extraordinarily long store name that goes on " * 4,
           station_name="-{n} 店舗の通路 ร้าน +aisle with a name of many words and no end",
           reason="@channel {f} is busy {b} %: " + "a reason with many words in it, " * 9,
           region="../..", country=None)  # fmt: skip
    invent(into, "S009", name="Two Floors", floors=2, stations=20, moved=9, country="FR")
    invent(into, "S010", name="Empty Shell", stations=0, moved=0, findings=1, country="CH",
           planned=False)  # fmt: skip
    invent(into, "S011", name="Tower", floors=5, stations=15, moved=0)
    invent(into, "S012", name="Halle", stations=30, moved=0, country="DE", region="Mitte")
    for n in range(1, 6):
        changed(into, f"S007-{n:02}", 3 * n)
    shares = {"success_before": 0.9412, "success_after": 0.9633, "success_gained": 0.0221}
    ends = {"success_gained_low": 0.0108, "success_gained_high": 0.0334}
    changed(into, "S002-01", 100, labels_listed=298, labels_back=290, labels_unsaid=2,
            labels_elsewhere=4, **shares, **ends)  # fmt: skip
    for n in range(6):
        into.add("label_behind", store="S002", station="S002-01", change="c-S002-01",
                 label=f"L{n}", station_now=None, heard_on=date(2026, 9, 1 + n))  # fmt: skip
    return into


@contextmanager
def invented_database(path: Path, into: Invented) -> Iterator[Database]:
    """Give a database that holds the invented stores."""
    with new_database(path) as database:
        fill(database, into)
        yield database


def fill(database: Database, into: Invented) -> None:
    """Write the invented rows, and the run they belong to."""
    connection = database.connection
    connection.execute("insert into this_run values (?, ?)", [RUN, SEEN])
    connection.execute("insert into setting values ('earshot_probability', 0.5)")
    connection.execute("insert into setting values ('labels_verified_share', 0.98)")
    connection.execute("insert into setting values ('evidence_half_life_days', 180)")
    for table, rows in into.tables.items():
        frame = pl.DataFrame(rows, infer_schema_length=None).cast({pl.Null: pl.String})
        arrow = _Stream(frame)
        connection.register("incoming", arrow)
        connection.execute(f"insert into {table} by name select * from incoming")  # noqa: S608 - our own table names
        connection.unregister("incoming")


class _Stream:
    """A frame as a bare Arrow stream."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)
