-- name: survey-stale
-- title: Survey out of date
-- title.de: Scan veraltet
-- severity: watch
-- says: Newest energy scan on {scanned_on:day}, {days:# day|# days} before the run's date.
-- says.de: Neuester Energiescan am {scanned_on:day}, {days:# Tag|# Tage} vor dem Stichtag.
-- why: Neighbours, Wi-Fi and shop fittings change. After {survey_stale_days} days a scan says
--   little about today; its weight in the plan has faded. Only where another scan may still change
--   the plan: a decision that is settled asks for none.
-- do: Scan again at the next visit, before the plan relies on it.
-- source: common practice, no published source
with newest as (
    select store, station, max(newest_at)::date as scanned_on
    from ed_evidence anti join station_planned using (store, station)
    semi join scan_wanted using (store, station)
    where source = 'measured' group by store, station
), aged as (
    select n.*, date_diff('day', n.scanned_on, r.as_of) as days from newest n, this_run r
)
select store, station as subject, scanned_on, days
from aged
where days > limit_of('survey_stale_days')
order by store, subject;
