"""Faults of region North."""

from dataclasses import replace

from pipeline.demo import edits
from pipeline.demo.chain import LATEST
from pipeline.demo.fault_shapes import found, quarantined
from pipeline.demo.records import Fault, Label

_LABELS = f"north/{LATEST}/labels.csv"


def _weak(number: int, label: Label) -> Label:
    return replace(label, level_dbm=-83 - number % 6)


NORTH_FAULTS: tuple[Fault, ...] = (
    # -- N103: labels that listen on few channels, Wi-Fi where nobody looked
    found(
        "deaf labels",
        "N103-02",
        "on channel 20; no label of the store listens there",
        "channel-label-deaf",
        on_portfolio=edits.station("N103-02", channel=20),
    ),
    found(
        "Wi-Fi at the upper end",
        "N103",
        "an access point on Wi-Fi channel 13; stations of the store rely on 25 and 26",
        "wifi-upper-channels",
        on_sites=edits.access_point("N103", 2, wifi_channel=13),
    ),
    found(
        "PAN ID twice",
        "N103-04",
        "same PAN ID as N103-01, in earshot",
        "pan-id-repeated",
        on_portfolio=edits.copied("N103-04", "pan_id", "N103-01"),
    ),
    found(
        "broadcast PAN ID",
        "N103-03",
        "PAN ID 0xFFFF, which addresses every network",
        "pan-id-reserved",
        on_portfolio=edits.station("N103-03", pan_id=0xFFFF),
    ),
    found(
        "weak labels",
        "N103-05",
        "every third label hears it below -80 dBm",
        "labels-weak",
        on_portfolio=edits.labels(lambda n, r: r.station == "N103-05" and n % 3 == 0, _weak),
    ),
    quarantined(
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
    found(
        "shared channel",
        "N104-02",
        "on the channel of N104-01, which it hears",
        "channel-shared",
        on_portfolio=edits.copied("N104-02", "channel", "N104-01"),
    ),
    found(
        "shared channel upstairs",
        "N104-13",
        "on the channel of N104-05 below it, which it hears",
        "channel-shared",
        on_portfolio=edits.copied("N104-13", "channel", "N104-05"),
    ),
    found(
        "busy channel",
        "N104-08",
        "on channel 11 beside an access point on Wi-Fi channel 1 that is busy 58 % of the time",
        "channel-busy",
        "clear-air-low",
        "wifi-overlap",
        on_sites=edits.access_point("N104", 3, wifi_channel=1, utilisation_pct=58.0),
        on_portfolio=edits.station("N104-08", channel=11),
    ),
    found(
        "hardware address in two stores",
        "N104-03",
        "same hardware address as M204-05",
        "hardware-address-repeated",
        on_portfolio=edits.copied("N104-03", "eui64", "M204-05"),
    ),
    found(
        "too much power",
        "N104-09",
        "17 dBm; the limit is 10 dBm, and the exception that allowed it ran out on 2026-08-31",
        "power-over-limit",
        "exception-expired",
        on_portfolio=edits.louder("N104-09", 17),
    ),
    found(
        "station offline",
        "N104-11",
        "not connected",
        "station-offline",
        on_portfolio=edits.station("N104-11", connected=False),
    ),
    quarantined(
        "short row",
        "N104",
        "a label's row ends after three cells",
        "row-too-short",
        on_sheets=edits.row(_LABELS, ("N104", "N104-L0007"), lambda r: r[:3]),
    ),
)
