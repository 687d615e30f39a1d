"""What a later audit must know of a run and could not find out any more."""

from pipeline.audit.baseline import advance
from pipeline.database import Database


def keep(database: Database) -> None:
    """Note the exceptions on file and each station's clear air, and move the baseline forward.

    To be called once a run, after survey and plan. Exceptions and figures that later runs replace
    are kept under this run's day, so that an audit of the quarter says the same whenever it is run.
    """
    with database.transaction():
        database.run("audit", "keep_exceptions")
        database.run("audit", "keep_clear_air")
    advance(database)
