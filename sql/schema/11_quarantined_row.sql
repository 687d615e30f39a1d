-- Rows that could not be taken, as a person can mend them.
create table if not exists quarantined_row (
    file    varchar not null,
    sha256  varchar not null,
    store   varchar,            -- the store the row speaks of, where it can be told
    line    bigint not null,    -- physical line in a text file, row in a sheet; 1 is the first
    rows    bigint not null,    -- how many rows of export_file.rows_quarantined this entry stands for
    problem varchar not null,   -- the named reason, such as 'level-impossible'
    reason  varchar not null,   -- one sentence: what is wrong, with the value
    advice  varchar not null,   -- one sentence: what to do
    text    varchar not null    -- the original cells, as a JSON object heading -> text
);
