"""The demo's next snapshot: what the exports say once stations were put on other channels."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

from pipeline.demo import observe
from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import DEMO_STORES, LATEST, SEED
from pipeline.demo.faults import FAULTS
from pipeline.demo.generate import generate, sites_of
from pipeline.demo.records import Portfolio, Scan, Site, StoreSeen
from pipeline.demo.sheets import sheets_of
from pipeline.demo.write import files_of

_LOUD_DBM = -58
_EVERY = 3  # of the scans of a station that met new noise, one in so many hears it


def write_follow_up(
    folder: Path, day: date, channels: Mapping[str, int], noisy: Collection[str] = ()
) -> None:
    """Write the exports of one more day below `folder`, the demo's latest otherwise unchanged.

    Args:
        folder: gets the exports.
        day: of the snapshot, after the demo's latest.
        channels: the stations that were put on another channel, with it.
        noisy: stations that meet new outside noise on the channel they are on by then.
    """
    for path, content in files_of(sheets_of(follow_up(day, channels, noisy), (day,))).items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(content)


def follow_up(day: date, channels: Mapping[str, int], noisy: Collection[str] = ()) -> Portfolio:
    """Return what the exports of one more day say; arguments as for `write_follow_up`."""
    before = generate(faults=FAULTS)
    stations = tuple(
        replace(s, seen_on=day, channel=channels.get(s.station, s.channel))
        for s in before.stations
        if s.seen_on == LATEST
    )
    on = {s.station: s.channel for s in stations}
    later = day - LATEST
    sites = tuple(_sites())
    return Portfolio(
        seed=before.seed,
        stores=tuple(StoreSeen(site.plan, day) for site in sites),
        stations=stations,
        scans=tuple(
            _heard(scan, number, on[scan.station]) if scan.station in noisy else scan
            for site in sites
            for number, scan in enumerate(observe.scans(before.seed, site, day))
        ),
        labels=tuple(
            replace(label, seen_on=day, last_heard_on=label.last_heard_on + later)
            for label in before.labels
            if label.seen_on == LATEST
        ),
        wifi=tuple(replace(w, seen_on=day) for w in before.wifi if w.seen_on == LATEST),
        heard=tuple(replace(h, seen_on=day) for h in before.heard if h.seen_on == LATEST),
    )


def _sites() -> Iterator[Site]:
    sites = sites_of(SEED, len(DEMO_STORES))
    for fault in FAULTS:
        if fault.on_sites is not None:
            sites = fault.on_sites(sites)
    yield from sites


def _heard(scan: Scan, number: int, channel: int) -> Scan:
    if number % _EVERY:
        return scan
    levels = list(scan.levels)
    levels[channel - CHANNELS[0]] = _LOUD_DBM
    return replace(scan, levels=tuple(levels))
