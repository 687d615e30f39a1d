-- Energy scans up to the run's date. Readings of one moment are one scan; where every reading
-- has a moment of its own, those of one day are. `heard` as in survey_moment.
create or replace view survey_scan as
select store, station, clock, min(scanned_at) as scanned_at, bit_or(heard) as heard
from survey_moment
group by store, station, clock,
    case when bit_count(heard) = 1 then date_trunc('day', scanned_at) else scanned_at end;
