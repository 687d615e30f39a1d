-- name: taken_before
-- The table of this name and content, where its rows were taken before.
from export_file where file = $file and sha256 = $sha256 and kind is not null;

-- name: refused_before
-- Whether a table of this name was refused before.
select exists (from export_file where file = $file and refused is not null) as refused;

-- name: forget_refused_file
-- Delete what is kept of a refused table, after its quarantined rows.
delete from export_file where file = $file and refused is not null;

-- name: forget_passed_over
-- Delete what is kept of files that are no exports: each folder is told anew.
delete from export_file where passed_over is not null;

-- name: due_again
-- Tables with rows set aside as of the future, whose day has come: its sentence begins with it.
select distinct file, sha256 from quarantined_row
where problem = 'date-in-future'
    and try_cast(regexp_extract(reason, '''(\d{4}-\d\d-\d\d)''', 1) as date) <= $latest
order by all;

-- name: forget_due_rows
-- Delete the quarantined rows of a table that is taken again.
delete from quarantined_row where file = $file and sha256 = $sha256;

-- name: forget_due_file
-- Delete what became of a table that is taken again.
delete from export_file where file = $file and sha256 = $sha256;

-- name: tables_held
-- The tables that the database holds.
select distinct file from export_file where kind is not null order by file;

-- name: years_held
-- The years that the database speaks of.
select distinct year(seen_on) as held from (
    select seen_on from store_seen
    union all select seen_on from station_seen
    union all select seen_on from label_seen
    union all select seen_on from wifi_seen
    union all select seen_on from heard_seen
    union all select seen_on from network_seen
    union all select cast(scanned_at as date) from ed_reading
)
order by held;

-- name: files_taken
-- Files of which every table is in the database.
select distinct file, sha256 from file_taken;

-- name: tables_taken
-- Every table that was taken, in the order in which tables were.
from export_file where kind is not null order by rowid;

-- name: stamps
-- What files met before held.
from file_stamp order by path, member;

-- name: forget_stamps
-- Delete the stamps of files that were read again.
delete from file_stamp where path in (select path from incoming);

-- name: readings_files
-- The files whose energy readings were taken, by name.
from export_file where kind = 'ed_readings' and rows_loaded + rows_repeated > 0 order by file, sha256;

-- name: note_stores
-- Note which stores the good rows of the file tell of.
insert into store_file by name
select distinct $sha256 as sha256, c.store from cleaned c
anti join store_file f on f.sha256 = $sha256 and f.store = c.store
where c.good and c.store is not null;
