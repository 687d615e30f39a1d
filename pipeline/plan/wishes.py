"""What people may ask "what if" of: a channel, a station added, Wi-Fi moved."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.cover.floors import Spot
from pipeline.errors import UnknownSelection
from pipeline.plan.cover import usual_power_dbm, would_rescue
from pipeline.plan.decide import Terms
from pipeline.plan.explain import Case
from pipeline.plan.further import with_station
from pipeline.plan.rows import StoreRows
from pipeline.plan.scan import ScanVisit
from pipeline.plan.what_if import WhatIf, after_scan, what_if
from pipeline.plan.wifi import WifiChange, WifiTerms, changed_air, inferred
from pipeline.radio.channels import CHANNELS, WIFI_CHANNELS

HOW = (
    "STATION=CHANNEL (11 to 26); NAME@X,Y=CHANNEL or NAME@X,Y,FLOOR=CHANNEL for a further station, "
    "'best' for its best channel; wifi:NETWORK=CHANNEL (1 to 14, or 'off'), with the network's "
    "name or its Wi-Fi channel, for all on it; STATION:CHANNEL=SHARE% for one visit that found the "
    "channel so busy"
)
_ADDED = re.compile(
    r"(?P<name>[^@=]+)@(?P<x>-?\d+(\.\d+)?),(?P<y>-?\d+(\.\d+)?)(,(?P<floor>-?\d+))?"
)
_SCANNED = re.compile(r"(?P<station>.+):(?P<channel>\d+)=(?P<share>\d+([.,]\d+)?) ?%")
_WIFI, _BEST, _OFF = "wifi:", "best", "off"
_WHOLE = 100.0  # per cent


@dataclass(frozen=True, slots=True)
class Wishes:
    """Channels by station, stations to add, Wi-Fi to move, and what scans would find.

    `wifi` has a channel by network, None for off; `scans` the share found busy, 0..1, by station
    and channel.
    """

    channels: Mapping[str, int] = field(default_factory=dict)
    stations: tuple[Spot, ...] = ()
    wifi: Mapping[str, int | None] = field(default_factory=dict)
    scans: Mapping[tuple[str, int], float] = field(default_factory=dict)


def read_wishes(texts: Sequence[str]) -> Wishes:
    """Read what was wished.

    Raises:
        ValueError: what cannot be read, and how to write it.
    """
    channels: dict[str, int] = {}
    stations: list[Spot] = []
    wifi: dict[str, int | None] = {}
    scans = dict(_scan(text) for text in texts if text.endswith("%"))
    for text in texts:
        if text.endswith("%"):
            continue
        what, _, value = text.rpartition("=")
        added = _ADDED.fullmatch(what)
        best = added is not None and value == _BEST
        to_wifi = what.startswith(_WIFI)
        off = to_wifi and value == _OFF
        known = WIFI_CHANNELS if to_wifi else CHANNELS
        if not what or not (best or off or _is_channel(value, known)):
            raise ValueError(f"{text}: give it as {HOW}")
        if to_wifi:
            wifi[what.removeprefix(_WIFI)] = None if off else int(value)
            continue
        if added:
            at = (float(added["x"]), float(added["y"]))
            stations.append(Spot(added["name"], int(added["floor"] or 0), *at, power_dbm=0.0))
            what = added["name"]
        if not best:
            channels[what] = int(value)
    return Wishes(channels, tuple(stations), wifi, scans)


def _scan(text: str) -> tuple[tuple[str, int], float]:
    found = _SCANNED.fullmatch(text)
    share = float(found["share"].replace(",", ".")) / _WHOLE if found else _WHOLE
    if found is None or int(found["channel"]) not in CHANNELS or share > 1:
        raise ValueError(f"{text}: give it as {HOW}")
    return (found["station"], int(found["channel"])), share


def _is_channel(value: str, known: Sequence[int]) -> bool:
    return value.isdecimal() and int(value) in known


def price_wishes(  # noqa: PLR0913 - a store, its wishes, and three terms of the plan
    case: Case,
    rows: StoreRows,
    wishes: Wishes,
    limits: Mapping[str, float],
    *,
    terms: Terms,
    visit: ScanVisit,
) -> WhatIf:
    """Price what is wished against the plan.

    Raises:
        UnknownSelection: the store has no such station or network, or has a station to be added.
    """
    known = [station.station for station in case.problem.stations]
    new = [spot.name for spot in wishes.stations]
    for station in (*wishes.channels, *(at for at, _ in wishes.scans)):
        if station not in {*known, *new}:
            raise UnknownSelection(f"station of store {rows.store}", station, known)
    before = case if wishes.scans else None
    case = after_scan(case, wishes.scans, visit) if wishes.scans else case
    notes, wider = [], case
    for spot in wishes.stations:
        here = replace(spot, power_dbm=usual_power_dbm(rows.cover))
        found = would_rescue(rows.cover, here, limits)
        labels = found.labels if found else 0.0
        wider = with_station(wider, rows.cover, here, labels, limits)
        if found is None:
            notes.append(
                f"{spot.name}: how many weak labels it would reach is not known; a place "
                "within 3 m of a station counts for none."
            )
        else:
            notes.append(
                f"{spot.name} brings {labels:.0f} weak labels up to "
                f"{limits['weak_label_dbm']:g} dBm ({found.low} to {found.high})."
            )
    then = _moved(wider, rows, wishes.wifi, limits)
    effort = int(limits["solver_effort"])
    moved = then if wishes.stations or wishes.wifi else None
    told = what_if(case, wishes.channels, effort, terms, then=moved, before=before)
    return replace(told, notes=tuple(notes))


def _moved(
    case: Case, rows: StoreRows, wifi: Mapping[str, int | None], limits: Mapping[str, float]
) -> Case:
    """Return a case with the air as it would be with the Wi-Fi moved."""
    heard, terms = list(rows.wifi), WifiTerms.of(limits)
    before = inferred(heard, terms)
    for name, channel in wifi.items():
        meant = {r.network for r in heard if name in {r.network, str(r.wifi_channel)}}
        if not meant:
            networks = sorted({r.network for r in heard})
            raise UnknownSelection(f"Wi-Fi network of store {rows.store}", name, networks)
        what = "off" if channel is None else "channel"
        heard = WifiChange(frozenset(meant), what, channel).made(heard)
    return changed_air(case, before, inferred(heard, terms)) if wifi else case
