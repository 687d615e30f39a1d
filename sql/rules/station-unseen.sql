-- name: station-unseen
-- title: Station missing from the latest export
-- title.de: Station fehlt im neuesten Export
-- severity: fix
-- says: Last listed on {last_listed_on:day}; the stations export of {newest_on:day} leaves it out.
-- says.de: Zuletzt am {last_listed_on:day} genannt; im Stationsexport vom {newest_on:day} fehlt
--   sie.
-- why: A station that was listed and no longer is was taken down, renamed or lost. Until that is
--   known, neither its channel nor its labels can be planned.
-- do: Ask the store. If it was taken down on purpose, record an exception; if it was renamed, have
--   the old name's entry removed; else bring it back.
-- source: common practice, no published source
with gone as (
    select store, station, max(seen_on) as last_listed_on, arg_max_null(status, seen_on) as status
    from station_seen where seen_on <= (select as_of from this_run)
    group by store, station
), newest as (select store, max(last_listed_on) as newest_on from gone group by store)
select g.store, g.station as subject, g.last_listed_on, n.newest_on
from gone g
join newest n on n.store = g.store
anti join key_pair p   -- it is listed under another key
    on p.store = g.store and p.station = g.station and p.to_station <> g.station
where g.last_listed_on < n.newest_on and coalesce(g.status, 'installed') = 'installed'
order by g.store, subject;
