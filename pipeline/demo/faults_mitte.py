"""Faults of region Mitte."""

from dataclasses import replace
from datetime import timedelta

from pipeline.demo import edits
from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import FIRMWARE_BEFORE, LATEST
from pipeline.demo.fault_shapes import found, quarantined
from pipeline.demo.records import Fault, Label, Outcome, Scan, Sheet

_MITTE = f"mitte/{LATEST}"
_COPY = f"{_MITTE}/filialen (Kopie).csv"
_OWN_TRAFFIC_DBM = -68


def _silent(number: int, label: Label) -> Label:
    return replace(label, last_heard_on=LATEST - timedelta(days=19 + number % 9))


def _beside_own_traffic(number: int, scan: Scan) -> Scan:
    """Some readings on channels of neighbours show our own frames."""
    channel = CHANNELS[4 if number % 2 else 9]
    noisy = edits.level_at(scan, channel, _OWN_TRAFFIC_DBM) if number % 7 == 0 else scan
    return replace(noisy, own_quiet=False)


def _supplement(table: Sheet) -> tuple[Sheet, Sheet]:
    """Return the table and a second one of the same day that says otherwise of M203-06."""
    at = table.headings.index("Sendeleistung dBm")
    line = next(r for r in table.rows if r[1] == "M203-06")
    other = (*line[:at], 6.0, *line[at + 1 :])
    path = f"{_MITTE}/basisstationen_nachtrag.csv"
    return table, replace(table, path=path, rows=(other,))


MITTE_FAULTS: tuple[Fault, ...] = (
    # -- M203: two people, two spreadsheets
    found(
        "channel not permitted",
        "M203-04",
        "on channel 26, which this region does not permit",
        "channel-not-permitted",
        on_portfolio=edits.station("M203-04", channel=26),
    ),
    found(
        "two exports of one day",
        "M203-06",
        "a supplement of the same day gives 6 dBm, the export 0 dBm",
        "exports-disagree",
        on_sheets=edits.sheet(f"{_MITTE}/basisstationen.csv", _supplement),
    ),
    quarantined(
        "word for a level",
        "M203-01",
        "ERROR in place of a level",
        "level-not-a-number",
        on_portfolio=edits.scans(
            "M203-01", lambda n, s: edits.level_at(s, 14, "ERROR") if n in {35, 47} else s
        ),
    ),
    found(
        "IP address twice",
        "M203-07",
        "same IP address as M203-02",
        "network-address-repeated",
        on_portfolio=edits.copied("M203-07", "ip_address", "M203-02"),
    ),
    found(
        "old firmware",
        "M203-05",
        "still on firmware 3.1.9",
        "firmware-off-standard",
        on_portfolio=edits.station("M203-05", firmware=FIRMWARE_BEFORE),
    ),
    quarantined(
        "more than all",
        "M203",
        "a label with 104 % of its updates acknowledged",
        "success-impossible",
        on_portfolio=edits.labels(
            lambda _, r: r.label == "M203-L0021", lambda _, r: replace(r, success_pct=104.0)
        ),
    ),
    Fault(
        "file twice",
        "",
        _COPY,
        "the stores export again under another name",
        Outcome.REPEATED,
        (),
        on_sheets=edits.sheet(f"{_MITTE}/filialen.csv", lambda t: (t, replace(t, path=_COPY))),
    ),
    # -- M204: a hypermarket nobody has looked after
    found(
        "one station carries the store",
        "M204-07",
        "serves labels of the whole upper floor",
        "store-unbalanced",
        on_portfolio=edits.labels(
            lambda n, r: r.store == "M204" and r.station > "M204-09" and n % 3 == 0,
            lambda n, r: replace(r, station="M204-07", level_dbm=-70 - n % 8),
        ),
    ),
    found(
        "no place on the plan",
        "M204-12",
        "no floor and no coordinates",
        "station-unplaced",
        on_portfolio=edits.station("M204-12", None, floor=None, x_m=None, y_m=None),
    ),
    found(
        "own traffic in the survey",
        "M204-14",
        "scanned while own stations were sending, in both rounds",
        "survey-beside-own-traffic",
        on_portfolio=edits.scans("M204-14", _beside_own_traffic),
    ),
    found(
        "silent labels",
        "M204-03",
        "a fifth of its labels not heard for 19 days or more",
        "labels-silent",
        on_portfolio=edits.labels(lambda n, r: r.station == "M204-03" and n % 5 == 0, _silent),
    ),
)
