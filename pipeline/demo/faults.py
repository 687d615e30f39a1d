"""The deliberate faults of the demo: read from `faults.toml`, and made."""

import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from pipeline.demo.air import CHANNELS
from pipeline.demo.chain import EARLIER, LATEST, SNAPSHOTS
from pipeline.demo.records import ChainSeen, DemoSite, ExportTable, Fault, Outcome, Scan

FAULT_FREE = ("N101", "N102", "M201", "M202", "E301")  # stores
_DAYS = {"latest": (LATEST,), "earlier": (EARLIER,), "both": SNAPSHOTS}
_MOMENT = ("month", "day", "hour", "minute")
# The records differ by table; `faults.toml` names fields of its own table only.
_Row = Any
_Edit = Mapping[str, Any]


def _fault(name: str, entry: _Edit) -> Fault:
    outcome = Outcome(entry.get("outcome", "found"))
    return Fault(
        name=name,
        store="" if outcome is Outcome.REPEATED else entry["subject"].partition("-")[0],
        subject=entry["subject"],
        what=entry["what"],
        outcome=outcome,
        raises=tuple(entry["raises"]),
        edits=tuple(entry.get("edits", ())),
    )


FAULTS = tuple(
    _fault(name, entry)
    for name, entry in tomllib.loads(
        Path(__file__).with_suffix(".toml").read_text(encoding="utf-8")
    ).items()
)
"""Every deliberate fault, in the order of the README."""


def fault_sites(fault: Fault, sites: Sequence[DemoSite]) -> tuple[DemoSite, ...]:
    """Return the stores as built with a fault in them, before anything is measured."""
    return tuple(_site(fault, site) if site.plan.store == fault.store else site for site in sites)


def _site(fault: Fault, site: DemoSite) -> DemoSite:
    for edit in fault.edits:
        if "access_point" in edit:
            points = list(site.access_points)
            index = edit["access_point"] - 1
            points[index] = replace(points[index], **edit["set"])
            site = replace(site, access_points=tuple(points))
        elif "beside" in edit:
            near = next(s for s in site.stations if s.station == edit["beside"])
            x_m = round((near.x_m or 0.0) + edit["apart_m"], 1)
            spot = {"floor": near.floor, "x_m": x_m, "y_m": near.y_m}
            site = replace(
                site,
                stations=tuple(
                    replace(s, **spot) if s.station == fault.subject else s for s in site.stations
                ),
            )
    return site


def fault_rows(fault: Fault, portfolio: ChainSeen) -> ChainSeen:
    """Return what the exports say with a fault in it."""
    for edit in fault.edits:
        if "rows" in edit:
            changes: _Edit = {edit["rows"]: tuple(_edited(fault, edit, portfolio))}
            portfolio = replace(portfolio, **changes)
        elif "gone" in edit:
            tables = ("stores", "stations", "scans", "labels", "wifi", "heard")
            left: _Edit = {
                table: tuple(r for r in getattr(portfolio, table) if not _names(fault, r))
                for table in tables
            }
            portfolio = replace(portfolio, **left)
    return portfolio


def _names(fault: Fault, row: _Row) -> bool:
    fields = ("store", "station", "neighbour")
    return row.seen_on == LATEST and fault.subject in {getattr(row, f, None) for f in fields}


def _edited(fault: Fault, edit: _Edit, portfolio: ChainSeen) -> Iterator[_Row]:
    """Yield the rows of one table, edited, without those dropped."""
    changes = dict(edit.get("set", {}))
    if "copy" in edit:
        latest = {s.station: s for s in portfolio.stations if s.seen_on == LATEST}
        changes[edit["copy"]] = getattr(latest[edit["from"]], edit["copy"])
    own = {"store" if fault.subject == fault.store else "station": fault.subject}
    where = edit.get("where", own)
    counts: Counter[str] = Counter()
    for row in getattr(portfolio, edit["rows"]):
        of = row.station if isinstance(row, Scan) else ""
        number, counts[of] = counts[of], counts[of] + 1
        if not _chosen(edit, where, number, row):
            yield row
        elif "drop" not in edit:
            added = {name: getattr(row, name) + by for name, by in edit.get("add", {}).items()}
            taken = {name: _value(value, number) for name, value in changes.items()}
            yield _replaced(row, {**added, **taken}, edit.get("channels", CHANNELS))


def _chosen(edit: _Edit, where: _Edit, number: int, row: _Row) -> bool:
    return (
        row.seen_on in _DAYS[edit.get("day", "latest")]
        and all(getattr(row, f) in ([v] if isinstance(v, str) else v) for f, v in where.items())
        and number % edit.get("every", 1) == edit.get("offset", 0)
        and number in edit.get("numbers", [number])
    )


def _value(value: object, number: int) -> object:
    if isinstance(value, list):
        value = value[number % len(value)]
    return {"": None, "number": number}.get(value, value) if isinstance(value, str) else value


def _replaced(row: _Row, changes: dict[str, Any], channels: Sequence[int]) -> _Row:
    if "level" in changes:
        level = changes.pop("level")
        levels = zip(CHANNELS, row.levels, strict=True)
        changes["levels"] = tuple(level if c in channels else before for c, before in levels)
    moment = {part: changes.pop(part) for part in _MOMENT if part in changes}
    if moment:
        changes["scanned_at"] = row.scanned_at.replace(**moment)
    return replace(row, **changes)


def fault_files(fault: Fault, tables: Sequence[ExportTable]) -> tuple[ExportTable, ...]:
    """Return the tables about to be written with a fault in them."""
    for edit in fault.edits:
        if "file" in edit:
            tables = [
                new
                for one in tables
                for new in (_file(edit, one) if one.path == edit["file"] else (one,))
            ]
    return tuple(tables)


def _file(edit: _Edit, table: ExportTable) -> Iterator[ExportTable]:
    named = [row for row in table.rows if edit.get("row") in (None, *row)]
    values = edit.get("set", {})
    changed = {
        row: tuple(values.get(h, cell) for h, cell in zip(table.headings, row, strict=True))[
            : edit.get("cells")
        ]
        for row in named
    }
    if "copy" in edit:
        yield table
        yield replace(table, path=edit["copy"], rows=tuple(changed.values()))
    else:
        yield replace(table, rows=tuple(changed.get(row, row) for row in table.rows))
