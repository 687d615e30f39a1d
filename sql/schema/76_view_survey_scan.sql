-- Energy scans up to the run's date. Readings of one moment are one scan; where every reading
-- has a moment of its own, those of one day are. Bit c - 11 of `heard` stands for channel c.
create or replace view survey_scan as
with moment as (
    select store, station, clock, scanned_at, bit_or(1::integer << (channel - 11)) as heard
    from ed_reading
    where channel between 11 and 26 and scanned_at::date <= (select as_of from this_run)
    group by store, station, clock, scanned_at
)
select store, station, clock, min(scanned_at) as scanned_at, bit_or(heard) as heard
from moment
group by store, station, clock,
    case when bit_count(heard) = 1 then date_trunc('day', scanned_at) else scanned_at end;
