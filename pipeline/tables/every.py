"""Every table of the database: importing this module declares them all."""

from pipeline.tables import audit, changes, exports, plan, run, survey, taken
from pipeline.tables.declare import Table, declared_tables

_MODULES = (run, exports, taken, survey, plan, changes, audit)


def every_table() -> tuple[Table, ...]:
    """Return every table, by module and in the order in which each module declares them."""
    names = [module.__name__ for module in _MODULES]
    return tuple(sorted(declared_tables(), key=lambda table: names.index(table.kind.__module__)))


VERSION = max(table.last_changed for table in every_table())
"""The version of the tables: the latest `since` of any table or column."""
