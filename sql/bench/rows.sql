-- Rows of each step's main table.
select 'ingest' as key, sum(rows_read) as value from export_file
union all select 'start', count(*) from permitted_channel
union all select 'survey', count(*) from ed_evidence
union all select 'verify', count(*) from change_check
union all select 'plan', count(*) from station_plan
union all select 'check', count(*) from finding
union all select 'audit', count(*) from drift;
