-- name: forget
-- What a whole run worked out is about to be replaced.
delete from whole_run;

-- name: held
-- What was taken in, the register, the nights and the audits, as two numbers a table: as long as
-- they are the same, so are the rows. What a run works out from them is left out.
select 'audit_air' as name, count(*) as rows_held, sum(hash(t)::hugeint) as content from audit_air t
union all select 'audit_change', count(*), sum(hash(t)::hugeint) from audit_change t
union all select 'audit_edition', count(*), sum(hash(t)::hugeint) from audit_edition t
union all select 'audit_finding', count(*), sum(hash(t)::hugeint) from audit_finding t
union all select 'audit_promise', count(*), sum(hash(t)::hugeint) from audit_promise t
union all select 'audit_store', count(*), sum(hash(t)::hugeint) from audit_store t
union all select 'baseline', count(*), sum(hash(t)::hugeint) from baseline t
union all select 'change', count(*), sum(hash(t)::hugeint) from change t
union all select 'change_check', count(*), sum(hash(t)::hugeint) from change_check t
union all select 'change_event', count(*), sum(hash(t)::hugeint) from change_event t
union all select 'change_plan', count(*), sum(hash(t)::hugeint) from change_plan t
union all select 'change_schedule', count(*), sum(hash(t)::hugeint) from change_schedule t
union all select 'clear_air_kept', count(*), sum(hash(t)::hugeint) from clear_air_kept t
union all select 'drift', count(*), sum(hash(t)::hugeint) from drift t
union all select 'exception_file', count(*), sum(hash(t)::hugeint) from exception_file t
union all select 'export_file', count(*), sum(hash(t)::hugeint) from export_file t
union all select 'mended_row', count(*), sum(hash(t)::hugeint) from mended_row t
union all select 'quarantined_row', count(*), sum(hash(t)::hugeint) from quarantined_row t
union all select 'schedule_proof', count(*), sum(hash(t)::hugeint) from schedule_proof t
union all select 'schedule_remark', count(*), sum(hash(t)::hugeint) from schedule_remark t
union all select 'unscheduled_store', count(*), sum(hash(t)::hugeint) from unscheduled_store t
union all select 'wave_taken', count(*), sum(hash(t)::hugeint) from wave_taken t
order by name;

-- name: keep
-- A whole run is done.
insert into whole_run values ($fingerprint);

-- name: known
-- What the last whole run was made from.
select fingerprint from whole_run;
