"""Approved exceptions: applied here and nowhere else."""

from pipeline.database import Database


def apply_exceptions(database: Database) -> None:
    """Mark the run's findings that an exception covers with its reason.

    An exception covers a finding of its rule whose store and subject it names exactly or by '*',
    up to and on its end date. Those that ran out or cover nothing are findings of rules of their
    own.
    """
    database.run("check", "apply_exceptions")
