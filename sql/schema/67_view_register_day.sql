-- The day up to which this run knows what became of changes: decisions are made after the export
-- they rest on, so a run on the newest export knows every event; one that looks back, only those
-- up to its own day.
create or replace view register_day as
select case when r.as_of < (select max(seen_on) from station_seen) then r.as_of
    else date '9999-12-30' end as day
from this_run r;
