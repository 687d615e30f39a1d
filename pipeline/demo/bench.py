"""Exports of any size, for measuring: stores as in the demo, a file for every fifty of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import polars as pl

from pipeline.demo import observe
from pipeline.demo.air import CHANNELS
from pipeline.demo.bulk import label_frame, reading_frame
from pipeline.demo.chain import LATEST, plan_of
from pipeline.demo.columns import ENGLISH
from pipeline.demo.layout import site_of
from pipeline.demo.records import Site, StoreSeen
from pipeline.demo.sheets import ENGLISH_TEXT, table
from pipeline.demo.write import text_of
from pipeline.progress import Progress, Silent

REVISIT_DAYS = 7  # after the first exports, some stores send new ones
_STORES_A_FILE = 50
_HABIT = 0.25  # of the stations are on a channel nobody chose


@dataclass(frozen=True, slots=True)
class BenchSize:
    """How many rows the exports of a bench hold."""

    stores: int
    stations: int
    readings: int
    labels: int


def write_bench(  # noqa: PLR0913 - the sizes of a bench
    folder: Path,
    stores: int,
    seed: int,
    *,
    stations: int = 8,
    readings: int = 50,
    labels: int = 4000,
    progress: Progress | None = None,
) -> BenchSize:
    """Write exports of `stores` stores below `folder`, fifty stores at a time.

    `stations` a store, `readings` a station and channel, `labels` a store. Memory does not grow
    with the number of stores. The same arguments write the same bytes.
    """
    starts = range(0, stores, _STORES_A_FILE)
    watched = (progress or Silent()).over(starts, "exports", len(starts))
    for part, first in enumerate(watched, start=1):
        batch = range(first, min(first + _STORES_A_FILE, stores))
        sites = [_site(seed, number, stations, labels) for number in batch]
        target = folder / f"part-{part:04d}"
        target.mkdir(parents=True, exist_ok=True)
        _write_described(target, seed, sites)
        for name, frame in (
            ("ed_readings", reading_frame(seed, part, sites, readings)),
            ("labels", label_frame(seed, part, sites)),
        ):
            frame.write_csv(target / f"{name}.csv", datetime_format=ENGLISH_TEXT.moment_format)
    every = stores * stations
    return BenchSize(stores, every, every * len(CHANNELS) * readings, stores * labels)


def write_revisit(  # noqa: PLR0913 - the sizes of a bench
    folder: Path,
    numbers: Sequence[int],
    seed: int,
    *,
    stations: int = 8,
    readings: int = 50,
    labels: int = 4000,
) -> None:
    """Write what stores of the bench, by number, send `REVISIT_DAYS` later below `folder`.

    Their stations, the first of each on another channel, and new energy readings.
    """
    later = timedelta(days=REVISIT_DAYS)
    sites = [_moved(_site(seed, number, stations, labels)) for number in numbers]
    target = folder / "revisit"
    target.mkdir(parents=True, exist_ok=True)
    columns = (*ENGLISH["stations"], ("Exported on", lambda _: LATEST + later))
    rows: list[object] = [station for site in sites for station in site.stations]
    sheet = table("stations.csv", ENGLISH_TEXT, columns, rows)
    (target / sheet.path).write_bytes(text_of(sheet))
    frame = reading_frame(seed + 1, 1, sites, readings)
    moments = pl.selectors.datetime() + later
    frame.with_columns(moments).write_csv(
        target / "ed_readings.csv", datetime_format=ENGLISH_TEXT.moment_format
    )


def _moved(site: Site) -> Site:
    """Return a store whose first station somebody set to another channel."""
    first, *rest = site.stations
    channel = CHANNELS[(CHANNELS.index(first.channel) + 1) % len(CHANNELS)]
    return replace(site, stations=(replace(first, channel=channel), *rest))


def _site(seed: int, number: int, stations: int, labels: int) -> Site:
    plan = plan_of(seed, number, stations, labels)
    return site_of(seed, plan, number * stations, number, _HABIT)


def _write_described(target: Path, seed: int, sites: Sequence[Site]) -> None:
    rows: dict[str, list[object]] = {
        "stores": [StoreSeen(site.plan, LATEST) for site in sites],
        "stations": [station for site in sites for station in site.stations],
        "wifi": [row for site in sites for row in observe.wifi(seed, site, LATEST)],
        "heard": [row for site in sites for row in observe.heard(seed, site, LATEST)],
    }
    for kind, found in rows.items():
        columns = (*ENGLISH[kind], ("Exported on", lambda _: LATEST))
        sheet = table(f"{kind}.csv", ENGLISH_TEXT, columns, found)
        (target / sheet.path).write_bytes(text_of(sheet))
