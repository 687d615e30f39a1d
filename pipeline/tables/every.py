"""Every table of the database: importing this module declares them all."""

from pipeline.tables import audit, changes, check, exports, plan, run, schedule, survey
from pipeline.tables.declare import Table, declared_tables

VERSION = 1
"""The version of the tables; a column or table that is added raises it by one."""

_MODULES = (run, exports, survey, plan, check, schedule, changes, audit)


def every_table() -> tuple[Table, ...]:
    """Return every table, by module and in the order in which each module declares them."""
    names = [module.__name__ for module in _MODULES]
    return tuple(sorted(declared_tables(), key=lambda table: names.index(table.kind.__module__)))
