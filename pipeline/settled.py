"""Whether anything has happened since the last whole run; if nothing has, all it made stands.

The database then need not be judged, planned and told anew: what a run works out follows from the
exports taken in, the register, the rules, the day and the program alone.
"""

from pathlib import Path

from pipeline.database import Database
from pipeline.due import fingerprint, program


def settled(database: Database, out: Path, rules_folder: Path | None) -> bool:
    """Say whether the last whole run wrote into this folder and nothing has happened since.

    To be called with `this_run` set.
    """
    if rules_folder is not None and not rules_folder.is_dir():
        return False
    known = database.rows("settled", "known")
    return known == [(_mark(database, out, rules_folder),)]


def settle(database: Database, out: Path, rules_folder: Path | None) -> None:
    """Keep that a whole run is done: every store and region has its files in this folder."""
    with database.transaction():
        unsettle(database)
        mark = _mark(database, out, rules_folder)
        database.run("settled", "keep", {"fingerprint": mark})


def unsettle(database: Database) -> None:
    """Forget that a whole run was done: what it worked out is about to be replaced."""
    database.run("settled", "forget")


def _mark(database: Database, out: Path, rules_folder: Path | None) -> str:
    """Return the fingerprint of all that a run rests on, and of where it writes."""
    run = database.rows("run", "this_run")[0][0]
    own = [] if rules_folder is None else sorted(rules_folder.glob("*.sql"))
    texts = [f"{path.name}\n{path.read_text('utf-8', 'replace')}" for path in own]
    held = database.rows("settled", "held")
    return fingerprint(program(), run, str(out.absolute()), repr(held), *texts)
