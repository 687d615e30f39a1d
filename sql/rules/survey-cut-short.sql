-- name: survey-cut-short
-- title: Scan cut short
-- title.de: Scan abgebrochen
-- severity: watch
-- says: {scans:# scan lacks|# scans lack} permitted channels; the newest, of {newest_at:moment},
--   lacks {lacking:all}.
-- says.de: In {scans:# Scan|# Scans} fehlen erlaubte Kanäle; im neuesten vom {newest_at:moment}
--   fehlen {lacking:all}.
-- why: A scan that lacks permitted channels cannot compare them: the plan falls back on older
--   readings or on a guess for what is missing. Scans of the last {survey_stale_days} days count.
-- do: Scan again and let it finish; see that the export keeps every channel's column.
-- source: common practice, no published source
with permitted as (
    select store, list(channel order by channel) as channels from permitted_channel group by store
), scan as (
    select s.store, s.station, s.scanned_at,
        list_filter(p.channels, lambda c: s.heard >> (c - 11) & 1 = 0) as lacking
    from survey_scan s
    join permitted p on p.store = s.store
    join station_now n on n.store = s.store and n.station = s.station
    where date_diff('day', s.scanned_at::date, (select as_of from this_run))
        <= limit_of('survey_stale_days')
)
select store, station as subject, count(*) as scans, max(scanned_at) as newest_at,
    max_by(lacking, scanned_at) as lacking
from scan
where len(scan.lacking) > 0
group by store, station
order by store, subject;
