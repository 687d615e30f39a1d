-- Every table met in a folder of exports, once per name and content.
-- rows_read = rows_loaded + rows_quarantined + rows_repeated, always.
-- decisions says how the file was read (encoding, delimiter, decimal mark, day order, clock).
create table if not exists export_file (
    file             varchar not null,  -- path below the exports folder; a sheet or zip member follows '#' or '!'
    sha256           varchar not null,  -- of the bytes of the file, or of the zip member
    kind             varchar,           -- stores, stations, ed_readings, labels, wifi, heard; null when refused
    exported_on      date,              -- the snapshot's date, where the kind has one
    rows_read        bigint not null,
    rows_loaded      bigint not null,
    rows_quarantined bigint not null,
    rows_repeated    bigint not null,
    refused          varchar,           -- the sentence, when no row of the file could be taken
    decisions        varchar not null,
    primary key (file, sha256)
);
