-- name: survey-cut-short
-- title: An energy scan was cut short
-- severity: watch
-- why: A scan that lacks permitted channels cannot compare them: the plan falls back on older
--   readings or on a guess for what is missing. Scans of the last {survey_stale_days} days count.
-- do: Scan again and let it finish; see that the export keeps every channel's column.
-- source: common practice, no published source
with permitted as (
    select store, bit_or(1::integer << (channel - 11)) as wanted
    from permitted_channel group by store
), short as (
    select s.store, s.station, count(*) as scans, max(s.scanned_at) as newest_at,
        max_by(p.wanted & ~s.heard, s.scanned_at) as lacking
    from survey_scan s
    join permitted p on p.store = s.store
    join station_now n on n.store = s.store and n.station = s.station
    where p.wanted & ~s.heard <> 0
        and date_diff('day', s.scanned_at::date, (select as_of from this_run))
            <= (select value from setting where name = 'survey_stale_days')
    group by s.store, s.station
)
select store, station as subject,
    format('{} lacking permitted channels; that of {} lacks {}.', counted(scans, 'scan'),
        strftime(newest_at, '%Y-%m-%d %H:%M'), array_to_string(list_filter(range(11, 27),
            lambda c: lacking >> (c - 11)::integer & 1 = 1), ', ')) as detail,
    scans, newest_at
from short
order by store, subject;
