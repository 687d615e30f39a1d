"""Rows that come back from quarantine, mended, in the sheets the program wrote.

Such a sheet has the headings of the file the rows first came in, and three more that say from
where each row came. Its rows are taken like any other; those that are named leave quarantine.
"""

from pipeline.database import Database
from pipeline.ingest.headings import MENDED_FIELDS, Mapped


def note_mended(database: Database, mapped: Mapped) -> None:
    """Remember which quarantined rows the staged table brings back, when it brings any."""
    fields = {column.field for column in mapped.columns}
    if fields.issuperset(MENDED_FIELDS.values()):
        database.run("ingest", "mended")
        database.run("ingest", "note_mended")


def release_mended(database: Database) -> None:
    """Take mended rows out of quarantine, whichever of the two files came first."""
    database.run("ingest", "mended_files")
    database.run("ingest", "count_mended")
    database.run("ingest", "release_mended")
