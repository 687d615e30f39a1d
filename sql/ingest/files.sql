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
