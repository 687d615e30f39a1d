"""What a person sees on the terminal: progress while work goes on, and what a run came to."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from datetime import date
from pathlib import Path
from typing import Any

import polars as pl
from rich.console import Console
from rich.padding import Padding
from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
from rich.progress import Progress as Bars
from rich.table import Table
from rich.text import Text

from pipeline.accounts import Cause, passed_over, refusals
from pipeline.audit.baseline import Approved
from pipeline.audit.history import LifeLine
from pipeline.bench import FULL, BenchResult
from pipeline.check.rules import RuleStanding
from pipeline.commands import QuarterAudited
from pipeline.match.match import NAMED
from pipeline.plan.what_if import WhatIf
from pipeline.progress import Item, Progress, Silent, within
from pipeline.records import KeysLeft, NewKey, RunSummary
from pipeline.report.files import CHAIN_FOLDER
from pipeline.tables.audit import Departure
from pipeline.tables.taken import ExportFile
from pipeline.wording import visible

_PIPE_WIDTH = 160
_TO_MEND = "Rows that could not be taken, to mend"


class TerminalBars:
    """A bar per piece of long work; it leaves one line behind when done."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:
        """Yield the items, moving the bar on after each."""
        text = TextColumn("{task.description:<12}")
        columns = (text, BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
        with Bars(*columns, console=self._console) as bars:
            task = bars.add_task(what, total=total)

            def show(share: float) -> None:
                bars.update(task, description=f"{what} {share:.0%}", refresh=True)

            with within(show):
                for item in items:
                    yield item
                    bars.update(task, advance=1, description=what)

    def during(self, step: str) -> AbstractContextManager[None]:  # noqa: ARG002 - bars say enough
        """Go through the step."""
        return nullcontext()


class _PlainConsole(Console):
    """A terminal that shows every text as it is: markup, emoji codes and controls do nothing.

    All that is printed as a string, in a table too, comes through here.
    """

    def render_str(self, text: str, **options: Any) -> Text:  # noqa: ANN401 - as rich has them
        """Return a string as the text it is."""
        return super().render_str(visible(text), **options)


def console(**options: Any) -> Console:  # noqa: ANN401 - as rich has them
    """Return the terminal; where output goes to a file or a pipe, lines have room."""
    out = _PlainConsole(markup=False, emoji=False, highlight=False, **options)
    if not out.is_terminal and "width" not in options:
        return console(width=_PIPE_WIDTH, **options)
    return out


def many(number: int, one: str, more: str = "") -> str:
    """Return a number with its noun; `more` is the plural where it does not end in -s alone."""
    return f"{number} {one}" if number == 1 else f"{number} {more or one + 's'}"


def progress_on(console: Console) -> Progress:
    """Return bars where a person watches, else nothing: a log has no use for them."""
    return TerminalBars(console) if console.is_terminal else Silent()


def plain_table(*texts: str, numbers: Iterable[str] = (), more: Iterable[str] = ()) -> Table:
    """Return a table without lines; numbers stand to the right."""
    table = Table(*texts, box=None, pad_edge=False, header_style="bold")
    for heading in numbers:
        table.add_column(heading, justify="right")
    for heading in more:
        table.add_column(heading)
    return table


def percent(share: float | None) -> str:
    """Return a share 0..1 as it is printed."""
    return "not known" if share is None else f"{share:.1%}"


def under(console: Console, text: str, *, indent: int, style: str) -> None:
    """Print a text under the one before it."""
    console.print(Padding(text, (0, 0, 0, indent)), style=style)


def _store(console: Console, store: str, region: str) -> None:
    """Print the heading of a store's lines."""
    console.print(f"\n{store}", style="bold", end="  ")
    console.print(region)


def show_run(console: Console, summary: RunSummary) -> None:
    """Print what a run came to: exports, findings, moves, clear air, and where the files are."""
    show_exports(console, summary.outcomes)
    if summary.outcomes and summary.rules_kept:
        console.print("No rules.toml lies beside the exports: the rules of the run before hold.")
    sizes = f"{many(summary.stores, 'store')}, {many(summary.stations, 'station')}"
    if summary.to_install:
        sizes += f" and {summary.to_install} to install"
    console.print(f"\n{sizes}, as of {summary.as_of} (run {summary.run})")
    _show_findings(console, summary)
    unknown = f"; not known of {summary.unknown}" if summary.unknown else ""
    console.print(
        f"{many(summary.moves, 'move')} in {many(summary.stores_with_moves, 'store')}; clear air "
        f"{percent(summary.clear_air_now)} now, {percent(summary.clear_air_planned)} as planned "
        f"(mean over stations, by labels{unknown})"
    )
    _show_keys(console, summary)
    for left in summary.left_aside:
        unknown = f"nothing knows the headings {left.headings}"
        console.print(f"{left.file}: {unknown}; add them under [headings] if they matter")
    for store, why in (*summary.unplanned.items(), *summary.unwritten):
        console.print(f"store {store}: {why}")
    _show_files(console, summary)


def _show_files(console: Console, summary: RunSummary) -> None:
    """Print where everything is that a run wrote."""
    if summary.written:
        number = len(summary.written)
        files = f"{many(number, 'change plan')} and {many(number, 'summary', 'summaries')}"
        console.print(f"{files} are in {summary.out}/<region>/<store>/")
    if summary.reviews:
        console.print(f"Region reviews: {summary.out}/<region>/review.pdf and .xlsx")
        if any(path.parent == summary.out / CHAIN_FOLDER for path in summary.reviews):
            console.print(f"Chain review: {summary.out}/{CHAIN_FOLDER}/review.pdf and .xlsx")
    if summary.quarantine is not None:
        keys = bool(summary.keys_taken) or summary.keys_left != KeysLeft()
        what = "Rows to mend, and keys written otherwise" if keys else _TO_MEND
        console.print(f"{what}: {summary.quarantine}")
    console.print(f"The database is {summary.database}")


def _show_keys(console: Console, summary: RunSummary) -> None:
    """Print how many keys were taken for listed ones and in which way, and what is new."""
    taken = [
        f"{each.source} of {_counted(each.keys, each.kind)} "
        f"{'named by' if each.way.endswith('address') else 'differing in'} {each.way}"
        for each in summary.keys_taken
    ]
    if taken:
        console.print(f"Matched to listed keys: {'; '.join(taken)}")
    left = summary.keys_left
    if left.stores or left.stations:
        counts = f"{_counted(left.stores, 'store')} and {_counted(left.stations, 'station')}"
        console.print(f"Named by exports but like no listed one: {counts}")
    for kind, new in (
        ("store", [each for each in summary.new_keys if each.station is None]),
        ("station", [each for each in summary.new_keys if each.station is not None]),
    ):
        if new:
            more = f" and {len(new) - NAMED} more" if len(new) > NAMED else ""
            names = ", ".join(map(_new_key, new[:NAMED]))
            console.print(f"New, never seen before: {_counted(len(new), kind)}: {names}{more}")


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}" if count == 1 else f"{count:,} {what}s"


def _new_key(new: NewKey) -> str:
    name = new.store if new.station is None else f"{new.store} {new.station}"
    return name if new.likely is None else f"{name} (is it {new.likely}?)"


def show_exports(console: Console, outcomes: tuple[ExportFile, ...]) -> None:
    """Print what became of every kind of export, and of every file that gave none, with why."""
    if not outcomes:
        return
    table = plain_table(
        "kind", numbers=("tables", "rows read", "loaded", "quarantined", "repeated")
    )
    tables = [outcome for outcome in outcomes if outcome.passed_over is None]
    for kind in sorted({outcome.kind or "" for outcome in tables}):
        own = [outcome for outcome in tables if (outcome.kind or "") == kind]
        rows = [(o.rows_read, o.rows_loaded, o.rows_quarantined, o.rows_repeated) for o in own]
        totals = (f"{sum(counts):,}" for counts in zip(*rows, strict=True))
        table.add_row(kind or "not taken", str(len(own)), *totals)
    if tables:
        console.print(table)
    refused, more = refusals(outcomes)
    _show_causes(console, "not taken", refused, more)
    if any("\n" in cause.why for cause in refused):
        console.print(
            "`quietaisle teach EXPORTS` asks for what is open and writes the lines for you.",
            soft_wrap=True,
        )
    _show_causes(console, "left out of the exports", *passed_over(outcomes))


def _show_causes(console: Console, what: str, causes: Sequence[Cause], more: int) -> None:
    for cause in causes:
        were = "was" if cause.files == 1 else "were"
        # Lines to paste must not be broken.
        console.print(f"{cause.told} {were} {what}: {cause.why}", soft_wrap=True)
    if more:
        console.print(f"{what} for {more:,} more reasons; they are in export_file of the database")


def _show_findings(console: Console, summary: RunSummary) -> None:
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(justify="right")
    table.add_column()
    table.add_column(style="dim")
    for severity, count in summary.findings.items():
        table.add_row(str(count), severity.value, severity.meaning)
    if summary.excepted:
        table.add_row(str(summary.excepted), "excepted", "an approved exception covers it")
    console.print("Findings")
    console.print(table)


def show_findings(console: Console, rows: pl.DataFrame) -> None:
    """Print findings store by store, gravest first."""
    for (store,), found in rows.group_by(["store"], maintain_order=True):
        _store(console, str(store), found["region"][0])
        grid = Table.grid(padding=(0, 2))
        for name in ("severity", "subject", "rule"):
            grid.add_column(name, no_wrap=True)
        grid.add_column("detail", overflow="fold")
        for row in found.iter_rows(named=True):
            cells = (row["severity"], row["subject"], row["rule"], row["detail"])
            grid.add_row(*cells)
        console.print(grid)
    if not rows.height:
        console.print("No finding stands.")


def show_standing(console: Console, since: date, rows: Sequence[RuleStanding]) -> None:
    """Print each rule's standing findings, over all and by region, and what has come and gone."""
    numbers = ("stores", "findings", "excepted", f"new since {since}", "gone")
    table = plain_table(
        "rule", "where", numbers=numbers, more=("first seen", "last seen", "gone since")
    )
    for row in rows:
        rule = "" if row.region else row.rule
        counts = (row.stores, row.findings, row.excepted, row.new_findings, row.gone_findings)
        days = (row.first_seen, row.last_seen, row.gone_since or "")
        table.add_row(rule, row.region or "all", *map(str, (*counts, *days)))
    console.print(table if rows else "No rule has found anything.")


def show_moves(console: Console, rows: pl.DataFrame) -> None:
    """Print the moves store by store, in the order to make them, each with its reason."""
    for (store,), moves in rows.group_by(["store"], maintain_order=True):
        _store(console, str(store), moves["region"][0])
        for row in moves.iter_rows(named=True):
            before = row["from_channel"]
            head = (
                f"{row['position']:>3}. {row['station']}: "
                f"{'first setting' if before is None else before} to "
                f"{row['to_channel']}{' (parking)' if row['parking'] else ''}, clear air "
                f"{percent(row['clear_air_before'])} to {percent(row['clear_air_after'])}"
            )
            console.print(head)
            under(console, row["reason"], indent=5, style="dim")
    if not rows.height:
        console.print("No station needs to move.")


def show_bench(console: Console, measured: BenchResult) -> None:
    """Print seconds by step of each run, rows, memory, shares and floors; the ratio comes last."""
    table = plain_table("step", numbers=(*measured.runs, "rows"))
    full = measured.runs[FULL]
    for step in full.seconds:
        rows = measured.rows.get(step)
        seconds = (f"{run.seconds.get(step, 0.0):.2f}" for run in measured.runs.values())
        table.add_row(step, *seconds, "" if rows is None else f"{rows:,}")
    totals = (f"{run.total:.2f}" for run in measured.runs.values())
    table.add_row("all, in seconds", *totals, f"{full.files:,} files")
    table.add_row("of the full run", *(f"{measured.share(name):.1%}" for name in measured.runs))
    peaks = ("?" if r.peak_mib is None else f"{r.peak_mib:,.0f}" for r in measured.runs.values())
    table.add_row("peak memory, MiB", *peaks)
    console.print(table)
    console.print(f"stores changed between the first two runs: {measured.changed:,}")
    parts = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in measured.floor.items())
    console.print(f"floor: {parts}")
    console.print(f"least for workbooks of the same cells: {measured.cell_floor:.2f} s")
    console.print(f"ratio to floor with the same cells: {measured.cell_ratio:.2f}")
    console.print(f"ratio to floor: {measured.ratio:.2f}")


def show_what_if(console: Console, found: WhatIf) -> None:
    """Print today, the plan, and a person's own choice side by side."""
    table = plain_table("station", numbers=[option.name for option in found.options])
    for at, station in enumerate(found.stations):
        cells = (
            f"{o.channels[at]} ({o.clear_air[at]:.1%})" if o.channels[at] else "off"
            for o in found.options
        )
        table.add_row(station, *cells)
    table.add_row("moves", *(str(option.moves) for option in found.options))
    table.add_row("cost", *(f"{option.cost:.4f}" for option in found.options))
    console.print(f"Store {found.store}: channel and clear air by station")
    console.print(table)
    for station in found.not_permitted:
        console.print(f"The rules do not permit that channel for {station}.")
    for note in found.notes:
        console.print(note)


def show_paths(console: Console, paths: Sequence[Path], none: str) -> None:
    """Print the files written, one a line."""
    for path in paths:
        console.print(str(path), soft_wrap=True)
    if not paths:
        console.print(none)


def show_audited(console: Console, found: QuarterAudited) -> None:
    """Print what the audit of a quarter came to and where its files are."""
    audited = found.audited
    edition = "the quarter is not over yet"
    if audited.edition is not None:
        edition = "first edition" if audited.edition == 1 else f"restatement {audited.edition}"
    console.print(f"{audited.quarter} ({edition}), {many(audited.stores, 'store')}")
    under(console, found.verdict, indent=2, style="")
    show_paths(console, found.files, "")


def show_approved(console: Console, approved: Sequence[Approved]) -> None:
    """Print the new baselines, those of the same version and day in one line."""
    alike: dict[tuple[int, date], list[Approved]] = defaultdict(list)
    for one in approved:
        alike[one.version, one.found_on].append(one)
    for (version, day), stores in sorted(alike.items()):
        names = stores[0].store if len(stores) == 1 else many(len(stores), "store")
        stations = f"{many(sum(one.stations for one in stores), 'station')} as found on {day}"
        console.print(f"{names}: version {version}, {stations}")


def show_departures(console: Console, rows: Sequence[Departure]) -> None:
    """Print what departs from what is agreed, one line each."""
    table = plain_table(
        "store", "subject", "field", "kind", "agreed", "found", "since", "agreed by"
    )
    for row in rows:
        kind = "changed" if row.kind == "drift" else row.kind
        kind = row.by_order if row.by_order in {"done differently", "undone"} else kind
        cells = (row.store, row.subject, row.field.replace("_", " "), kind, row.agreed, row.found)
        since = "" if row.first_seen is None else row.first_seen.isoformat()
        table.add_row(*(c or "" for c in cells), since, row.approved_by or "")
    console.print(table if rows else "Everything is as agreed.")


def show_life(console: Console, lines: Sequence[LifeLine]) -> None:
    """Print a station's life, oldest first."""
    for line in lines:
        until = f" to {line.until}" if line.until not in {None, line.day} else ""
        air = "" if line.clear_air is None else f"; clear air {line.clear_air:.0%}"
        by = f" ({line.by})" if line.by else ""
        console.print(f"{line.day}{until}  {line.text}{by}{air}")
