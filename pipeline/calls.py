"""What every step of the job is called with: the options they share, and the exit status."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import wraps
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from pipeline import terminal
from pipeline.progress import Progress
from pipeline.records import Selection, Severity
from pipeline.run import Request

DONE, FINDINGS, FAILED = 0, 1, 2
PATH = click.Path(path_type=Path)
DATABASE = Path("quietaisle.duckdb")
DAY = click.DateTime(["%Y-%m-%d"])
_OPTIONS = (
    click.option(
        "--database",
        type=PATH,
        default=DATABASE,
        show_default=True,
        help="Where everything is kept between runs.",
    ),
    click.option(
        "--rules",
        type=PATH,
        help="Rules file; else rules.toml beside the exports, else that of the last run.",
    ),
    click.option("--rules-folder", type=PATH, help="A folder of rules of your own."),
    click.option(
        "--out", type=PATH, default=Path("reports"), show_default=True, help="Where reports go."
    ),
    click.option("--as-of", type=DAY, help="The day to speak of; else the newest in the exports."),
    click.option("--store", multiple=True, help="Only this store; may be repeated."),
    click.option("--region", multiple=True, help="Only this region; may be repeated."),
    click.option(
        "--fail-on",
        type=click.Choice([severity.value for severity in Severity]),
        help="Exit with status 1 when a finding is this grave or graver.",
    ),
)


@dataclass(frozen=True, slots=True)
class Call:
    """What every step of the job is called with."""

    request: Request
    fail_on: str | None
    console: Console
    progress: Progress

    @property
    def only_store(self) -> str | None:
        """The one store asked for; None where it is not exactly one."""
        stores = self.request.selection.stores
        return stores[0] if len(stores) == 1 else None


def step(command: Callable[..., int]) -> Callable[..., int]:
    """Add the options that every step of the job takes, and hand them over as one `Call`."""

    @wraps(command)
    def called(exports: Path | None = None, **options: Any) -> int:  # noqa: ANN401 - as click has them
        console = terminal.console()
        shared = {name: options.pop(name) for name in ("database", "out", "rules", "rules_folder")}
        selection = Selection(options.pop("store"), options.pop("region"))
        as_of = day_of(options.pop("as_of"))
        request = Request(exports=exports, as_of=as_of, selection=selection, **shared)
        fail_on = options.pop("fail_on")
        return command(Call(request, fail_on, console, terminal.progress_on(console)), **options)

    for option in reversed(_OPTIONS):
        called = option(called)
    return called


def day_of(moment: datetime | None) -> date | None:
    """Return the day of a moment as the command line has it; None stays none."""
    return None if moment is None else moment.date()


def status(found: Mapping[Severity, int], fail_on: str | None) -> int:
    """Return the exit status: 1 where a finding is as grave as asked for, or graver."""
    if fail_on is None:
        return DONE
    graver = list(Severity)[: list(Severity).index(Severity(fail_on)) + 1]
    return FINDINGS if any(found[severity] for severity in graver) else DONE
