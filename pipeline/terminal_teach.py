"""Print what headings are taken for, and ask about what is open."""

from collections.abc import Sequence

import click
from rich.console import Console
from rich.table import Table

from pipeline.teach import Taught
from pipeline.terminal import plain_table
from pipeline.visible import visible


def show_taught(console: Console, taught: Taught) -> None:
    """Print a table's columns: heading, some values, the field, and why."""
    kind = taught.kind or "no kind of export that is known"
    state = "taken as it is" if taught.known else "not taken yet"
    console.print(f"{taught.file}: {kind}, {state}")
    if taught.refused:
        console.print(f"  {taught.refused}")
    if taught.columns and not taught.known:
        console.print(_columns(taught))
    for field in taught.lacking:
        console.print(f"  open: no column stands for {field} yet")


def _columns(taught: Taught) -> Table:
    grid = plain_table("heading", "values", "field", "by")
    for column in taught.columns:
        values = ", ".join(column.values)
        grid.add_row(column.heading, values, column.field or "left aside", column.why)
    return grid


def ask(what: str, meaning: str, free: Sequence[str]) -> str | None:
    """Ask which of the headings or answers is the one; none where nobody says."""
    numbered = "\n".join(f"  {number} {visible(each)}" for number, each in enumerate(free, start=1))
    question = f"{visible(meaning)}\nWhich is {what}?\n{numbered}\n  0 none"
    answer: int = click.prompt(question, type=click.IntRange(0, len(free)), default=0)
    return free[answer - 1] if answer else None
