"""Small changes a fault makes to sites, to the portfolio or to the tables about to be written."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from pipeline.demo import air
from pipeline.demo.chain import LATEST
from pipeline.demo.records import (
    Cell,
    Label,
    Portfolio,
    PortfolioEdit,
    Scan,
    Sheet,
    SheetEdit,
    Site,
    SiteEdit,
)


def access_point(store: str, number: int, **changes: Any) -> SiteEdit:  # noqa: ANN401 - fields of AccessPoint
    """Change the `number`-th Wi-Fi access point of a store, before anything is measured."""

    def change(site: Site) -> Site:
        points = list(site.access_points)
        points[number - 1] = replace(points[number - 1], **changes)
        return replace(site, access_points=tuple(points))

    return lambda sites: tuple(change(s) if s.plan.store == store else s for s in sites)


def hung_beside(station: str, other: str, apart_m: float) -> SiteEdit:
    """Hang a station beside another one, before anything is measured."""

    def change(site: Site) -> Site:
        spots = {s.station: s for s in site.stations}
        if station not in spots:
            return site
        near = spots[other]
        x_m = round((near.x_m or 0.0) + apart_m, 1)
        moved = replace(spots[station], floor=near.floor, x_m=x_m, y_m=near.y_m)
        stations = tuple(moved if s.station == station else s for s in site.stations)
        return replace(site, stations=stations)

    return lambda sites: tuple(change(site) for site in sites)


def both(*edits: PortfolioEdit) -> PortfolioEdit:
    """Make several changes, one after the other."""

    def change(portfolio: Portfolio) -> Portfolio:
        for edit in edits:
            portfolio = edit(portfolio)
        return portfolio

    return change


def station(name: str, seen_on: date | None = LATEST, **changes: Any) -> PortfolioEdit:  # noqa: ANN401 - fields of Station
    """Change a station's line in the exports of one day, or of every day."""

    def change(portfolio: Portfolio) -> Portfolio:
        rows = tuple(
            replace(s, **changes) if s.station == name and seen_on in {None, s.seen_on} else s
            for s in portfolio.stations
        )
        return replace(portfolio, stations=rows)

    return change


def louder(name: str, by_db: int) -> PortfolioEdit:
    """Turn a station's power up, as labels and other stations hear it in the latest exports."""

    def change(portfolio: Portfolio) -> Portfolio:
        now = next(s for s in portfolio.stations if s.station == name and s.seen_on == LATEST)
        heard = tuple(
            replace(h, level_dbm=h.level_dbm + by_db)
            if h.neighbour == name and h.seen_on == LATEST
            else h
            for h in portfolio.heard
        )
        turned = station(name, tx_power_dbm=now.tx_power_dbm + by_db)(portfolio)
        return labels(
            lambda _, label: label.station == name,
            lambda _, label: replace(label, level_dbm=label.level_dbm + by_db),
        )(replace(turned, heard=heard))

    return change


def copied(name: str, field: str, source: str) -> PortfolioEdit:
    """Give a station one field of another station, in the latest export."""

    def change(portfolio: Portfolio) -> Portfolio:
        latest = {s.station: s for s in portfolio.stations if s.seen_on == LATEST}
        return station(name, **{field: getattr(latest[source], field)})(portfolio)

    return change


def station_gone(name: str) -> PortfolioEdit:
    """Leave a station out of everything in the latest exports."""

    def stays(row: Any) -> bool:  # noqa: ANN401 - any record of the portfolio
        of = {getattr(row, "station", None), getattr(row, "neighbour", None)}
        return name not in of or _day(row) != LATEST

    return _keep(stays)


def store_gone(store: str) -> PortfolioEdit:
    """Leave a store out of everything in the latest exports."""

    def stays(row: Any) -> bool:  # noqa: ANN401 - any record of the portfolio
        plan = getattr(row, "plan", None)
        return (plan.store if plan else row.store) != store or _day(row) != LATEST

    return _keep(stays)


def _day(row: Any) -> date:  # noqa: ANN401 - any record of the portfolio
    day: date = row.exported_on if isinstance(row, Scan) else row.seen_on
    return day


def _keep(stays: Callable[[Any], bool]) -> PortfolioEdit:
    def change(portfolio: Portfolio) -> Portfolio:
        return Portfolio(
            seed=portfolio.seed,
            stores=tuple(filter(stays, portfolio.stores)),
            stations=tuple(filter(stays, portfolio.stations)),
            scans=tuple(filter(stays, portfolio.scans)),
            labels=tuple(filter(stays, portfolio.labels)),
            wifi=tuple(filter(stays, portfolio.wifi)),
            heard=tuple(filter(stays, portfolio.heard)),
        )

    return change


def scans(name: str, edit: Callable[[int, Scan], Scan | None]) -> PortfolioEdit:
    """Change (or drop, with None) the scans of a station, numbered from 0 over all exports."""

    def change(portfolio: Portfolio) -> Portfolio:
        number = 0
        kept: list[Scan] = []
        for scan in portfolio.scans:
            changed: Scan | None = scan
            if scan.station == name:
                changed = edit(number, scan)
                number += 1
            if changed is not None:
                kept.append(changed)
        return replace(portfolio, scans=tuple(kept))

    return change


def labels(
    chosen: Callable[[int, Label], bool], edit: Callable[[int, Label], Label]
) -> PortfolioEdit:
    """Change the labels that are chosen, in the latest export; both are told their number."""

    def change(portfolio: Portfolio) -> Portfolio:
        rows = tuple(
            edit(number, label) if label.seen_on == LATEST and chosen(number, label) else label
            for number, label in enumerate(portfolio.labels)
        )
        return replace(portfolio, labels=rows)

    return change


def level_at(scan: Scan, channel: int, level: int | str) -> Scan:
    """Return the scan with another level on one channel."""
    index = channel - air.CHANNELS[0]
    return replace(scan, levels=(*scan.levels[:index], level, *scan.levels[index + 1 :]))


def sheet(path: str, edit: Callable[[Sheet], Iterable[Sheet]]) -> SheetEdit:
    """Change the table of one path into any number of tables."""

    def change(sheets: tuple[Sheet, ...]) -> tuple[Sheet, ...]:
        found: list[Sheet] = []
        for one in sheets:
            found.extend(edit(one) if one.path == path else (one,))
        return tuple(found)

    return change


def row(
    path: str, begins: Sequence[Cell], edit: Callable[[tuple[Cell, ...]], tuple[Cell, ...]]
) -> SheetEdit:
    """Change the first row of a table whose first cells are those given."""

    def change(one: Sheet) -> Iterable[Sheet]:
        rows = list(one.rows)
        index = next(i for i, r in enumerate(rows) if list(r[: len(begins)]) == list(begins))
        rows[index] = edit(rows[index])
        return (replace(one, rows=tuple(rows)),)

    return sheet(path, change)
