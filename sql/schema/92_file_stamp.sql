-- Files met, so that one that still has the same size and times need not be read through again to
-- know its content. Only a hint: where anything differs, the content decides.
create table if not exists file_stamp (
    path   varchar not null,   -- on this machine
    stamp  varchar not null,   -- size, times of change and place on the disk
    member varchar,            -- of an archive; null: the file itself
    sha256 varchar not null    -- of the file or member
);
