"""The demo: twelve stores with every deliberate fault, one about to open, and what follows.

`python -m pipeline.demo [FOLDER]` writes its exports anew, by default into sample_exports. Beside a
FOLDER that is named, FOLDER_next takes what two of its stores export a fortnight later. The demo's
own files are removed from both first. The same program writes the same bytes.
"""

import shutil
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.demo.chain import (
    CHAIN,
    DEMO_STORES,
    EARLIER,
    LATEST,
    NEXT_DOOR,
    OPENING,
    SEED,
    site_of,
    sites_of,
)
from pipeline.demo.exports import network_of, next_door_of, opening_of, tables_of, write_files
from pipeline.demo.faults import FAULT_FREE, FAULTS, fault_files, fault_rows, fault_sites
from pipeline.demo.observe import observed
from pipeline.demo.records import ChainSeen, DemoSite, Fault, Outcome

_RULES = Path(__file__).with_name("rules.toml")
# Git must not touch the line ends: they are part of what the exports show.
_GIT_ATTRIBUTES = "* -text\n"
NETWORKED = "N103"
"""The store of which a list of its network is exported."""
NEXT = LATEST + timedelta(days=14)
NEXT_STORES = ("N101", "N102")
NEXT_CHANNELS = {"N101-02": 26, "N102-01": 25, "N102-02": 20, "N102-05": 25}
"""What the plan of the latest day asks for in these stores, as a test makes sure."""
STRAGGLERS = ("N102-L0001", "N102-L0087", "N102-L0151")
_LAST_HEARD = LATEST + timedelta(days=1)
_NEXT_README = """\
# Two stores of the invented chain, a fortnight later

What North exports on {day} of N101 and N102, once the changes planned on {latest} were made in a
night between 2 and 11 October: every label of N101 is back, three of N102 are not. First run
`sample_exports`; approve the changes in both change plans, report them as done, and give the
workbooks to `quietaisle decide`. Then `quietaisle run` on this folder: the change of N101 counts as
verified, and the sheet Results of N102 lists the labels that did not follow.
"""
_README = """\
# Exports of an invented chain

{chain} does not exist; neither do its shops, people or addresses. Hardware addresses come from
the block that RFC 9542 sets aside for documentation. These files are what three source systems
of such a chain might export on {earlier} and {latest}: try the program on them, or read them to
see what it accepts. `python -m pipeline.demo` writes them anew, byte for byte the same.

| folder | region | written as |
| --- | --- | --- |
| north | North | UTF-8, commas, ISO dates; one energy reading a row in dBm; June zipped |
| mitte | Mitte | cp1252, semicolons, decimal commas, day first, German headings; a scan a row, \
levels without their minus sign |
| east | East | UTF-8 with a byte order mark, UTC offsets; a scan a row, raw 0-255 values on a \
stated scale; labels with counts of updates; September as one workbook; headings the rules file \
explains |

`rules.toml` holds the chain's rules: permitted channels, firmware, exceptions on file.

| store | name | region | kind | stations | labels |
| --- | --- | --- | --- | --- | --- |
{stores}
## A store about to open

{opening.store} {opening.name} ({opening.region.name}) has {opening.stations} stations planned and \
none on the air: its exports, in
`north/{latest}/opening`, have no channel yet. It is planned from its Wi-Fi survey and coordinates.

## Two stores in one building

N101 and N102 hear one another through the wall (`north/{latest}/next_door.csv`), so they are
planned together.

## Deliberate faults

Each must be found. One fault may have further consequences: a busy channel lowers clear air too.

| store | where | what is wrong | must raise |
| --- | --- | --- | --- |
{faults}
## Stores without a fault

{free} must raise no finding of severity `stop` or `fix`.
"""


def write_demo(folder: Path) -> None:
    """Write the demo's exports, README and rules file below `folder`."""
    seen = _demo()[1]
    tables = tables_of(seen)
    for fault in FAULTS:
        tables = fault_files(fault, tables)
    beside = (network_of(seen, NETWORKED, LATEST), next_door_of(NEXT_DOOR, LATEST))
    write_files((*tables, *beside, *opening_of(_opening(), LATEST)), folder)
    (folder / "README.md").write_bytes(_readme().encode())
    (folder / "rules.toml").write_bytes(_RULES.read_bytes())
    (folder / ".gitattributes").write_bytes(_GIT_ATTRIBUTES.encode())


def generate(
    seed: int = SEED, stores: int = len(DEMO_STORES), made: Sequence[Fault] = ()
) -> ChainSeen:
    """Return what the exports of a chain say, with some faults in it.

    The first twelve stores are the demo's, further ones are drawn. Without faults no two
    stations in earshot share a channel where the store's channels suffice, and every value
    is in order.
    """
    return _seen(seed, _built(seed, stores, made), made)


def _opening() -> ChainSeen:
    """Return what is known of the store about to open: addresses follow those of the demo."""
    number = len(DEMO_STORES)
    site = site_of(SEED, OPENING, sum(plan.stations for plan in DEMO_STORES), number)
    return observed(SEED, (site,), (LATEST,))


@cache
def _demo() -> tuple[tuple[DemoSite, ...], ChainSeen]:
    """Return the demo's stores and what their exports say, with all faults."""
    sites = _built(SEED, len(DEMO_STORES), FAULTS)
    return sites, _seen(SEED, sites, FAULTS)


def _seen(seed: int, sites: tuple[DemoSite, ...], made: Sequence[Fault]) -> ChainSeen:
    portfolio = observed(seed, sites)
    for fault in made:
        portfolio = fault_rows(fault, portfolio)
    return portfolio


def _built(seed: int, stores: int, made: Sequence[Fault]) -> tuple[DemoSite, ...]:
    sites = sites_of(seed, stores)
    for fault in made:
        sites = fault_sites(fault, sites)
    return sites


def _readme() -> str:
    stores = (
        f"| {p.store} | {p.name} | {p.region.name} | {p.store_type} | {p.stations} | {p.labels} |\n"
        for p in DEMO_STORES
    )
    return _README.format(
        chain=CHAIN,
        earlier=EARLIER,
        latest=LATEST,
        stores="".join(stores),
        faults="".join(map(fault_row, FAULTS)),
        free=", ".join(FAULT_FREE),
        opening=OPENING,
    )


def fault_row(fault: Fault) -> str:
    """Return a fault as a row of the README's table."""
    match fault.outcome:
        case Outcome.FOUND:
            outcome = ", ".join(f"`{rule}`" for rule in fault.raises)
        case Outcome.EXCEPTED:
            outcome = f"`{fault.raises[0]}`, excepted"
        case Outcome.QUARANTINED:
            outcome = f"rows quarantined as `{fault.raises[0]}`; `{fault.raises[1]}`"
        case _:
            outcome = "nothing; every row counts as repeated"
    return f"| {fault.store or 'all of Mitte'} | {fault.subject} | {fault.what} | {outcome} |\n"


def write_next(folder: Path) -> None:
    """Write below `folder` the exports of two stores a fortnight on, their changes made.

    All labels of N101 are back; N102 has some that were last heard before any night of the work.
    """
    seen = follow_up(NEXT, NEXT_CHANNELS)
    kept: dict[str, Any] = {
        kind: tuple(row for row in getattr(seen, kind) if row.store in NEXT_STORES)
        for kind in ("stores", "stations", "scans", "labels")
    }
    kept["labels"] = tuple(
        replace(label, last_heard_on=_LAST_HEARD) if label.label in STRAGGLERS else label
        for label in kept["labels"]
    )
    write_files(tables_of(replace(seen, **kept, wifi=(), heard=()), (NEXT,)), folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "README.md").write_bytes(_NEXT_README.format(day=NEXT, latest=LATEST).encode())
    (folder / ".gitattributes").write_bytes(_GIT_ATTRIBUTES.encode())


def follow_up(day: date, channels: Mapping[str, int]) -> ChainSeen:
    """Return what is seen on one more day: as on the latest, but for stations on other channels."""
    sites, before = _demo()
    later = observed(SEED, sites, (day,))
    stations = tuple(
        replace(s, seen_on=day, channel=channels.get(s.station, s.channel))
        for s in before.stations
        if s.seen_on == LATEST
    )
    return replace(
        later,
        stations=stations,
        labels=tuple(
            replace(label, seen_on=day, last_heard_on=label.last_heard_on + (day - LATEST))
            for label in before.labels
            if label.seen_on == LATEST
        ),
        wifi=tuple(replace(w, seen_on=day) for w in before.wifi if w.seen_on == LATEST),
        heard=tuple(replace(h, seen_on=day) for h in before.heard if h.seen_on == LATEST),
    )


def main() -> None:
    """Write the demo below the folder named on the command line."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_exports")
    _clear(folder)
    write_demo(folder)
    if len(sys.argv) > 1:
        later = folder.with_name(f"{folder.name}_next")
        _clear(later)
        write_next(later)


def _clear(folder: Path) -> None:
    for own in ("north", "mitte", "east"):
        shutil.rmtree(folder / own, ignore_errors=True)


if __name__ == "__main__":
    main()
