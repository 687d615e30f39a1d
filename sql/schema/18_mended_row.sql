-- Quarantined rows that came back mended in a workbook; they do not stand in quarantine again.
create table if not exists mended_row (
    file   varchar not null,   -- of the row as it first came, as in quarantined_row
    sha256 varchar not null,
    line   bigint not null
);
