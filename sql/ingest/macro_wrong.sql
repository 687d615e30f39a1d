-- One thing wrong with a row: the named problem, the field, and what the cell said.
create or replace temp macro wrong(problem, field, cell) as
    {'problem': problem, 'field': field, 'cell': left(coalesce(cell, ''), 120)};
