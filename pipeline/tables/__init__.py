"""The tables of the database, each declared once: names, types, units, meanings, versions.

From a declaration come the statement that creates the table, the record that its rows are bound to
by name in both directions, and the reference in `docs/tables.md`. A column is added in one place,
with the version it came in and a migration in `sql/migrations`.
"""
