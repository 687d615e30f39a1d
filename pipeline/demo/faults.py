"""The deliberate faults of the demo, as data: where, what is wrong, and what must come of it."""

from dataclasses import replace
from datetime import timedelta

from pipeline.demo import edits
from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import EARLIER, FIRMWARE_BEFORE, LATEST
from pipeline.demo.records import Fault, Label, Scan, Sheet

_NORTH = f"north/{LATEST}"
_MITTE = f"mitte/{LATEST}"
_COPY = f"{_MITTE}/filialen (Kopie).csv"
_STUCK_DBM = -30
_CUT = 18 - CHANNELS[0] + 1  # channels 11 to 18
_OWN_TRAFFIC_DBM = -68


def _is_latest(scan: Scan) -> bool:
    return scan.exported_on == LATEST


def _only_rule(name: str, subject: str, what: str, *raises: str, **edit: object) -> Fault:
    """Return a fault that rules must find; the store is the first part of the subject."""
    return Fault(name, subject.partition("-")[0], subject, what, "rule", raises, **edit)  # type: ignore[arg-type]  # the three edit fields


def _quarantined(name: str, subject: str, what: str, problem: str, **edit: object) -> Fault:
    """Return a fault whose rows must be quarantined for a named problem."""
    raises = (problem, "rows-quarantined")
    return Fault(name, subject.partition("-")[0], subject, what, "problem", raises, **edit)  # type: ignore[arg-type]  # the three edit fields


def _weak(number: int, label: Label) -> Label:
    return replace(label, level_dbm=-83 - number % 6)


def _silent(number: int, label: Label) -> Label:
    return replace(label, last_heard_on=LATEST - timedelta(days=19 + number % 9))


def _beside_own_traffic(number: int, scan: Scan) -> Scan:
    """Some readings on channels of neighbours show our own frames."""
    channel = CHANNELS[4 if number % 2 else 9]
    noisy = edits.level_at(scan, channel, _OWN_TRAFFIC_DBM) if number % 7 == 0 else scan
    return replace(noisy, own_quiet=False)


def _at_night(number: int, scan: Scan) -> Scan:
    return replace(scan, scanned_at=scan.scanned_at.replace(hour=3, minute=number % 60))


def _stuck(number: int, scan: Scan) -> Scan:
    stuck = _is_latest(scan) and number % 10 == 5  # noqa: PLR2004 - three scans of thirty
    return replace(scan, levels=(_STUCK_DBM,) * len(CHANNELS)) if stuck else scan


def _supplement(table: Sheet) -> tuple[Sheet, Sheet]:
    """Return the table and a second one of the same day that says otherwise of M203-06."""
    at = table.headings.index("Sendeleistung dBm")
    line = next(r for r in table.rows if r[1] == "M203-06")
    other = (*line[:at], 6.0, *line[at + 1 :])
    path = f"{_MITTE}/basisstationen_nachtrag.csv"
    return table, replace(table, path=path, rows=(other,))


FAULTS: tuple[Fault, ...] = (
    # -- N103: labels that listen on few channels, Wi-Fi where nobody looked
    _only_rule(
        "deaf labels",
        "N103-02",
        "on channel 20; no label of the store listens there",
        "channel-label-deaf",
        on_portfolio=edits.station("N103-02", channel=20),
    ),
    _only_rule(
        "Wi-Fi at the upper end",
        "N103",
        "an access point on Wi-Fi channel 13; stations of the store rely on 25 and 26",
        "wifi-upper-channels",
        on_sites=edits.access_point("N103", 2, wifi_channel=13),
    ),
    _only_rule(
        "PAN ID twice",
        "N103-04",
        "same PAN ID as N103-01, in earshot",
        "pan-id-repeated",
        on_portfolio=edits.copied("N103-04", "pan_id", "N103-01"),
    ),
    _only_rule(
        "broadcast PAN ID",
        "N103-03",
        "PAN ID 0xFFFF, which addresses every network",
        "pan-id-reserved",
        on_portfolio=edits.station("N103-03", pan_id=0xFFFF),
    ),
    _only_rule(
        "weak labels",
        "N103-05",
        "every third label hears it below -80 dBm",
        "labels-weak",
        on_portfolio=edits.labels(lambda n, r: r.station == "N103-05" and n % 3 == 0, _weak),
    ),
    _quarantined(
        "impossible level",
        "N103-05",
        "an energy reading of +2 dBm",
        "level-impossible",
        on_portfolio=edits.scans(
            "N103-05",
            lambda n, s: edits.level_at(s, 17, 2) if n == 40 else s,  # noqa: PLR2004 - any one of the latest
        ),
    ),
    # -- N104: a hypermarket where installers went by habit
    _only_rule(
        "shared channel",
        "N104-02",
        "on the channel of N104-01, which it hears",
        "channel-shared",
        on_portfolio=edits.copied("N104-02", "channel", "N104-01"),
    ),
    _only_rule(
        "shared channel upstairs",
        "N104-13",
        "on the channel of N104-05 below it, which it hears",
        "channel-shared",
        on_portfolio=edits.copied("N104-13", "channel", "N104-05"),
    ),
    _only_rule(
        "busy channel",
        "N104-08",
        "on channel 11 beside an access point on Wi-Fi channel 1 that is busy 58 % of the time",
        "channel-busy",
        "clear-air-low",
        "wifi-overlap",
        on_sites=edits.access_point("N104", 3, wifi_channel=1, utilisation_pct=58.0),
        on_portfolio=edits.station("N104-08", channel=11),
    ),
    _only_rule(
        "hardware address in two stores",
        "N104-03",
        "same hardware address as M204-05",
        "hardware-address-repeated",
        on_portfolio=edits.copied("N104-03", "eui64", "M204-05"),
    ),
    _only_rule(
        "too much power",
        "N104-09",
        "17 dBm; the limit is 10 dBm, and the exception that allowed it ran out on 2026-08-31",
        "power-over-limit",
        "exception-expired",
        on_portfolio=edits.louder("N104-09", 17),
    ),
    _only_rule(
        "station offline",
        "N104-11",
        "not connected",
        "station-offline",
        on_portfolio=edits.station("N104-11", connected=False),
    ),
    _quarantined(
        "short row",
        "N104",
        "a label's row ends after three cells",
        "row-too-short",
        on_sheets=edits.row(f"{_NORTH}/labels.csv", ("N104", "N104-L0007"), lambda r: r[:3]),
    ),
    # -- M203: two people, two spreadsheets
    _only_rule(
        "channel not permitted",
        "M203-04",
        "on channel 26, which this region does not permit",
        "channel-not-permitted",
        on_portfolio=edits.station("M203-04", channel=26),
    ),
    _only_rule(
        "two exports of one day",
        "M203-06",
        "a supplement of the same day gives 6 dBm, the export 0 dBm",
        "exports-disagree",
        on_sheets=edits.sheet(f"{_MITTE}/basisstationen.csv", _supplement),
    ),
    _quarantined(
        "word for a level",
        "M203-01",
        "ERROR in place of a level",
        "level-not-a-number",
        on_portfolio=edits.scans(
            "M203-01", lambda n, s: edits.level_at(s, 14, "ERROR") if n in {35, 47} else s
        ),
    ),
    _only_rule(
        "IP address twice",
        "M203-07",
        "same IP address as M203-02",
        "network-address-repeated",
        on_portfolio=edits.copied("M203-07", "ip_address", "M203-02"),
    ),
    _only_rule(
        "old firmware",
        "M203-05",
        "still on firmware 3.1.9",
        "firmware-off-standard",
        on_portfolio=edits.station("M203-05", firmware=FIRMWARE_BEFORE),
    ),
    _quarantined(
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
        "repeated",
        (),
        on_sheets=edits.sheet(f"{_MITTE}/filialen.csv", lambda t: (t, replace(t, path=_COPY))),
    ),
    # -- M204: a hypermarket nobody has looked after
    _only_rule(
        "one station carries the store",
        "M204-07",
        "serves labels of the whole upper floor",
        "store-unbalanced",
        on_portfolio=edits.labels(
            lambda n, r: r.store == "M204" and r.station > "M204-09" and n % 3 == 0,
            lambda n, r: replace(r, station="M204-07", level_dbm=-70 - n % 8),
        ),
    ),
    _only_rule(
        "no place on the plan",
        "M204-12",
        "no floor and no coordinates",
        "station-unplaced",
        on_portfolio=edits.station("M204-12", None, floor=None, x_m=None, y_m=None),
    ),
    _only_rule(
        "own traffic in the survey",
        "M204-14",
        "scanned while own stations were sending, in both rounds",
        "survey-beside-own-traffic",
        on_portfolio=edits.scans("M204-14", _beside_own_traffic),
    ),
    _only_rule(
        "silent labels",
        "M204-03",
        "a fifth of its labels not heard for 19 days or more",
        "labels-silent",
        on_portfolio=edits.labels(lambda n, r: r.station == "M204-03" and n % 5 == 0, _silent),
    ),
    # -- E302: a shop that dropped out of sight
    _only_rule(
        "store out of sight",
        "E302",
        "named by no export since June",
        "store-unseen",
        on_portfolio=edits.store_gone("E302"),
    ),
    _only_rule(
        "all on one channel",
        "E302",
        "both stations on channel 11, as delivered",
        "channels-all-one",
        "channel-shared",
        on_portfolio=edits.both(
            edits.station("E302-01", EARLIER, channel=11),
            edits.station("E302-02", EARLIER, channel=11),
        ),
    ),
    _only_rule(
        "upgrade missed",
        "E302-01",
        "last seen with the firmware of June",
        "firmware-off-standard",
    ),
    # -- E303: a survey with holes
    _only_rule(
        "never surveyed",
        "E303-01",
        "no scan at all",
        "survey-missing",
        on_portfolio=edits.scans("E303-01", lambda _n, _s: None),
    ),
    _only_rule(
        "survey cut short",
        "E303-02",
        "the scans of September end after channel 18",
        "survey-cut-short",
        on_portfolio=edits.scans(
            "E303-02",
            lambda _, s: replace(s, levels=s.levels[:_CUT]) if _is_latest(s) else s,
        ),
    ),
    _only_rule(
        "thin survey",
        "E303-04",
        "14 scans in two rounds",
        "survey-thin",
        on_portfolio=edits.scans("E303-04", lambda n, s: s if n >= 46 else None),  # noqa: PLR2004 - the last 14 of 60
    ),
    _only_rule(
        "broken hardware address",
        "E303-08",
        "a letter in the address that is no hex digit",
        "hardware-address-malformed",
        on_portfolio=edits.station("E303-08", eui64="00:00:5e:ef:10:00:00:4G"),
    ),
    Fault(
        "freezer room",
        "E303",
        "E303-06",
        "on channel 13, which the rules do not permit; an exception is on file",
        "excepted",
        ("channel-not-permitted",),
        on_portfolio=edits.station("E303-06", None, channel=13),
    ),
    # -- E304: the largest store
    _only_rule(
        "station vanished",
        "E304-22",
        "listed in June, missing in September",
        "station-unseen",
        on_portfolio=edits.station_gone("E304-22"),
    ),
    _quarantined(
        "stuck radio",
        "E304-11",
        "-30 dBm on every channel in three scans",
        "radio-stuck",
        on_portfolio=edits.scans("E304-11", _stuck),
    ),
    _only_rule(
        "survey of last winter",
        "E304-16",
        "last scanned on 2026-02-10",
        "survey-stale",
        on_portfolio=edits.scans(
            "E304-16",
            lambda _, s: (
                None
                if _is_latest(s)
                else replace(s, scanned_at=s.scanned_at.replace(month=2, day=10))
            ),
        ),
    ),
    _only_rule(
        "survey at night only",
        "E304-20",
        "scanned between three and four in the morning only",
        "survey-night-only",
        on_portfolio=edits.scans("E304-20", _at_night),
    ),
    _only_rule(
        "neighbours side by side",
        "E304-08",
        "hung 1.4 m from E304-07 on the channel beside it: 25 and 26",
        "channel-adjacent",
        on_sites=edits.hung_beside("E304-08", "E304-07", 1.4),
        on_portfolio=edits.both(
            edits.station("E304-07", channel=25), edits.station("E304-08", channel=26)
        ),
    ),
    _only_rule(
        "as delivered",
        "E304-17",
        "on channel 11 as delivered, like E304-05 and E304-18, which it hears",
        "channel-shared",
        on_portfolio=edits.both(*(edits.station(f"E304-{n:02d}", channel=11) for n in (5, 17, 18))),
    ),
)
FAULT_FREE = ("N101", "N102", "M201", "M202", "E301")
