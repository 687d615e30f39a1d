-- name: last_seal
-- The last seal of the register.
select * from register_seal order by size desc limit 1;

-- name: seals
-- Every seal of the register, the first one first.
select * from register_seal order by size;

-- name: entries
-- Every entry of the register in the order in which they were sealed.
select * from register_entry order by seq;

-- name: sealed_rows
-- How many rows of each table are sealed.
select source as key, count(*) as value from register_entry group by source order by source;

-- name: stores_of
-- The store of each of some changes.
select change as key, store as value from change where change in $changes order by change;

-- name: register_exports
-- Enter the exports that a run rests on and none before it did, in order of their digests: under
-- whatever names, and in whatever pieces, they were taken in.
insert into register_file by name
select distinct f.sha256, 'export' as kind, null as file, t.as_of
from export_file f, this_run t
where f.kind is not null
    and f.sha256 not in (select sha256 from register_file where kind = 'export')
order by f.sha256;

-- name: files_kept
-- The digests of the files that are kept octet by octet.
select sha256 from file_kept order by sha256;

-- name: files_wrong
-- Kept files that are not what their digest says, digests of kept kinds without their file, and
-- decisions and answers that name a workbook which is not kept.
select sha256 || ', a file that is kept, is not as it came' as problem
from file_kept where sha256(octets) <> sha256
union all
select sha256 || ', a file that is kept, is none of the register'
from file_kept where sha256 not in (select sha256 from register_file where kind <> 'export')
union all
select file || ' (' || sha256 || ') is kept no more'
from register_file where kind <> 'export' and sha256 not in (select sha256 from file_kept)
union all
select 'event ' || seq || ' names a workbook that was never kept'
from change_event
where workbook_sha256 is not null and workbook_sha256 not in (select sha256 from file_kept)
union all
select 'an answer of store ' || store || ' names a workbook that was never kept'
from drift_answer
where workbook_sha256 is not null and workbook_sha256 not in (select sha256 from file_kept)
order by problem;

-- name: this_day
-- The day of the run.
select as_of from this_run;

-- name: changes_of
-- The changes of a station.
select change from change where store = $store and station = $station order by change;
