-- The report files as last written. Size and time only tell whether somebody touched them since;
-- what stands in them follows from the fingerprint.
create table if not exists report_written (
    folder      varchar not null,  -- of the store or region
    store       varchar not null,  -- or region, by name
    fingerprint varchar not null,  -- of all that its files say, and of the program
    files       varchar not null   -- name, size in octets and time of change of each file
);
