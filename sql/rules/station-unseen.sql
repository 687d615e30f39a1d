-- name: station-unseen
-- title: A station is missing from its store's latest export
-- severity: fix
-- why: A station that was listed and no longer is was taken down, renamed or lost. Until that is
--   known, neither its channel nor its labels can be planned.
-- do: Ask the store. If it was taken down on purpose, record an exception; if it was renamed, tell
--   the old name's entry off; else bring it back.
-- source: common practice, no published source
with gone as (
    select store, station, max(seen_on) as last_listed_on
    from station_seen where seen_on <= (select as_of from this_run)
    group by store, station
), newest as (select store, max(last_listed_on) as newest_on from gone group by store)
select g.store, g.station as subject,
    format('Last listed on {}; the stations export of {} leaves it out.',
        strftime(g.last_listed_on, '%Y-%m-%d'), strftime(n.newest_on, '%Y-%m-%d')) as detail,
    g.last_listed_on, n.newest_on
from gone g
join newest n on n.store = g.store
where g.last_listed_on < n.newest_on
order by g.store, subject;
