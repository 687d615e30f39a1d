"""Faults of region East."""

from dataclasses import replace

from pipeline.demo import edits
from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import EARLIER, LATEST
from pipeline.demo.fault_shapes import found, quarantined
from pipeline.demo.records import Fault, Outcome, Scan

_STUCK_DBM = -30
_CUT = 18 - CHANNELS[0] + 1  # channels 11 to 18


def _is_latest(scan: Scan) -> bool:
    return scan.exported_on == LATEST


def _at_night(number: int, scan: Scan) -> Scan:
    return replace(scan, scanned_at=scan.scanned_at.replace(hour=3, minute=number % 60))


def _stuck(number: int, scan: Scan) -> Scan:
    stuck = _is_latest(scan) and number % 10 == 5  # noqa: PLR2004 - three scans of thirty
    return replace(scan, levels=(_STUCK_DBM,) * len(CHANNELS)) if stuck else scan


EAST_FAULTS: tuple[Fault, ...] = (
    # -- E302: a shop that dropped out of sight
    found(
        "store out of sight",
        "E302",
        "named by no export since June",
        "store-unseen",
        on_portfolio=edits.store_gone("E302"),
    ),
    found(
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
    found(
        "upgrade missed",
        "E302-01",
        "last seen with the firmware of June",
        "firmware-off-standard",
    ),
    # -- E303: a survey with holes
    found(
        "never surveyed",
        "E303-01",
        "no scan at all",
        "survey-missing",
        on_portfolio=edits.scans("E303-01", lambda _n, _s: None),
    ),
    found(
        "survey cut short",
        "E303-02",
        "the scans of September end after channel 18",
        "survey-cut-short",
        on_portfolio=edits.scans(
            "E303-02",
            lambda _, s: replace(s, levels=s.levels[:_CUT]) if _is_latest(s) else s,
        ),
    ),
    found(
        "thin survey",
        "E303-04",
        "no scan in June, 14 in September",
        "survey-thin",
        on_portfolio=edits.scans("E303-04", lambda n, s: s if n >= 46 else None),  # noqa: PLR2004 - the last 14 of 60
    ),
    found(
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
        Outcome.EXCEPTED,
        ("channel-not-permitted",),
        on_portfolio=edits.station("E303-06", None, channel=13),
    ),
    # -- E304: the largest store
    found(
        "station vanished",
        "E304-22",
        "listed in June, missing in September",
        "station-unseen",
        on_portfolio=edits.station_gone("E304-22"),
    ),
    quarantined(
        "stuck radio",
        "E304-11",
        "-30 dBm on every channel in three scans",
        "radio-stuck",
        on_portfolio=edits.scans("E304-11", _stuck),
    ),
    found(
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
    found(
        "survey at night only",
        "E304-20",
        "scanned between three and four in the morning only",
        "survey-night-only",
        on_portfolio=edits.scans("E304-20", _at_night),
    ),
    found(
        "neighbours side by side",
        "E304-08",
        "hung 1.4 m from E304-07 on the channel beside it: 25 and 26",
        "channel-adjacent",
        on_sites=edits.hung_beside("E304-08", "E304-07", 1.4),
        on_portfolio=edits.both(
            edits.station("E304-07", channel=25), edits.station("E304-08", channel=26)
        ),
    ),
    found(
        "as delivered",
        "E304-17",
        "on channel 11 as delivered, like E304-05 and E304-18, which it hears",
        "channel-shared",
        on_portfolio=edits.both(*(edits.station(f"E304-{n:02d}", channel=11) for n in (5, 17, 18))),
    ),
)
