"""Whether anything has happened since the last whole run; if nothing has, all it made stands.

The database then need not be judged, planned and told anew: what a run works out follows from the
exports taken in, the register, the rules, the day and the program alone.
"""

from dataclasses import dataclass
from pathlib import Path

from pipeline.database import Database
from pipeline.due import fingerprint, program
from pipeline.tables.run import ThisRun


@dataclass(frozen=True, slots=True)
class HeldTable:
    """How many rows a table holds, and a sum over their contents."""

    name: str
    rows_held: int
    content: int


def own_rules(folder: Path | None) -> str:
    """Return the fingerprint of a folder of the user's own rules, as far as they can be read."""
    if folder is None:
        return ""
    return fingerprint(*(f"{path.name} {_content(path)}" for path in sorted(folder.glob("*.sql"))))


def _content(path: Path) -> str:
    try:
        return path.read_bytes().hex()
    except OSError as error:  # the check says so
        return str(error)


def settled(database: Database, out: Path, rules: str) -> bool:
    """Say whether the last whole run wrote into this folder and nothing has happened since.

    To be called with `this_run` set; `rules` is the fingerprint of the user's own rules.
    """
    return database.column("settled", "known") == [_mark(database, out, rules)]


def settle(database: Database, out: Path, rules: str) -> None:
    """Keep that a whole run is done: every store and region has its files in this folder.

    `rules` is the fingerprint taken before the run read them.
    """
    with database.transaction():
        unsettle(database)
        database.run("settled", "keep", {"fingerprint": _mark(database, out, rules)})


def unsettle(database: Database) -> None:
    """Forget that a whole run was done: what it worked out is about to be replaced."""
    database.run("settled", "forget")


def _mark(database: Database, out: Path, rules: str) -> str:
    """Return the fingerprint of all that a run rests on, and of where it writes."""
    run = database.records(ThisRun, "run", "this_run")[0].run
    held = database.records(HeldTable, "settled", "held")
    return fingerprint(program(), run, str(out.absolute()), rules, repr(held))
