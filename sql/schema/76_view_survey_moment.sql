-- The moments of energy scans up to the run's date. Bit c - 11 of `heard` stands for channel c.
create or replace view survey_moment as
select store, station, clock, scanned_at, bit_or(1::integer << (channel - 11)) as heard
from ed_reading
where channel between 11 and 26 and scanned_at::date <= (select as_of from this_run)
group by store, station, clock, scanned_at;
