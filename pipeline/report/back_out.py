"""The back-out as a workbook: the way back in order, and the form on which it is reported."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from operator import attrgetter
from pathlib import Path

from pipeline.database import Database
from pipeline.due import choose
from pipeline.records import BackOutStep
from pipeline.report import style
from pipeline.report.content import Change, Plan, Station, StoreContent
from pipeline.report.files import put_file
from pipeline.report.fill_in import lock, put_copy, put_form, results
from pipeline.report.gather import store_contents
from pipeline.report.safe_names import safe_names
from pipeline.report.sheet import Book, Column, Look, Value, put_list, writable
from pipeline.report.wording import NOTHING, Wording, wording
from pipeline.xlsx import workbook_bytes

SHEET = "Back-out"
_TITLE_LETTERS = 250


def write_back_out(database: Database, out: Path, steps: Sequence[BackOutStep]) -> tuple[Path, ...]:
    """Write the way back of one store, a workbook for each plan it undoes, last plan first.

    Each goes beside the store's change plan as `back-out-<plan>.xlsx`.

    Raises:
        OutputNotWritable: the folder or file cannot be written.
    """
    if not steps:
        return ()
    known = database.rows("report", "stores")
    stores = safe_names([store for store, _, _ in known])
    regions = safe_names([region for _, _, region in known])
    paths: list[Path] = []
    for plan, group in groupby(steps, key=attrgetter("plan")):
        own = list(group)
        content = _content(database, own[0].store, plan)
        folder = out / regions[content.store.region] / stores[content.store.store]
        path = folder / f"back-out-{plan}.xlsx"
        put_file(path, back_out_workbook(content, own))
        paths.append(path)
    return tuple(paths)


def back_out_workbook(content: StoreContent, steps: Sequence[BackOutStep]) -> bytes:
    """Return the way back as .xlsx; `content` holds the plan and the changes to be undone."""
    words, store = wording(content.store.country), content.store
    plan = content.plan.plan if content.plan else NOTHING
    title = words("back_out.title", plan=plan, store=store.store, name=store.name)
    book = Book(words, style.page_size(content.store.country))
    properties = book.book.properties
    properties.title = writable(title)[:_TITLE_LETTERS]
    properties.creator = words("document.author")
    undone = {step.change for step in steps}
    changes = [_blank(change) for change in reversed(content.changes) if change.change in undone]
    content = replace(content, changes=tuple(changes))
    rows = _rows(steps, {station.station: station for station in content.stations}, words)
    put_list(book, book.sheet(SHEET, title), _columns(words), rows)
    form = results(book, content, back_out=True)
    copies = put_form(book, book.sheet(form.form.sheet, title), form, content)
    put_copy(book, content, copies)
    for sheet in book.book.worksheets:
        lock(sheet)
    return workbook_bytes(book.book)


def _content(database: Database, store: str, plan: str) -> StoreContent:
    (content,) = store_contents(database, [store])
    choose(database, [store])
    changes = tuple(Change(*row[1:]) for row in database.rows("report", "change", {"plan": plan}))
    proposed_by, proposed_on = database.rows("report", "proposed", {"plan": plan})[0]
    return replace(content, plan=Plan(plan, proposed_on, proposed_by), changes=changes)


def _blank(change: Change) -> Change:
    """Return a change with nothing reported on it yet: its undoing is what is asked for."""
    return replace(change, outcome=None, done_at=None, done_by=None, done_note=None, due=None)


def _columns(words: Wording) -> tuple[Column, ...]:
    return (
        Column(words("column.order"), Look.COUNT),
        Column(words("column.change")),
        Column(words("column.station"), Look.LONG, 30),
        Column(words("column.station_name"), Look.LONG, 30),
        Column(words("column.mounted"), Look.LONG, 34),
        Column(words("column.from"), Look.COUNT),
        Column(words("column.to"), Look.COUNT),
        Column(words("column.kind"), Look.LONG, 24),
    )


def _rows(
    steps: Sequence[BackOutStep], stations: Mapping[str, Station], words: Wording
) -> list[tuple[Value, ...]]:
    rows: list[tuple[Value, ...]] = []
    for position, step in enumerate(steps, start=1):
        station = stations.get(step.station)
        rows.append(
            (
                position,
                step.change,
                step.station,
                station.name if station else None,
                station.mounted if station else None,
                step.from_channel,
                step.to_channel,
                words("back_out.kind_parking" if step.parking else "back_out.kind_final"),
            )
        )
    return rows
