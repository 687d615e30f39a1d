-- name: survey-night-only
-- title: Scanned outside trading hours only
-- title.de: Nur außerhalb der Öffnungszeiten gemessen
-- severity: watch
-- says: {moments:Its only scan moment falls|All its # scan moments fall} outside trading hours
--   ({opens:clock} to {closes:clock}).
-- says.de: {moments:Der einzige Scan liegt|Alle # Scans liegen} außerhalb der Öffnungszeiten
--   ({opens:clock} bis {closes:clock}).
-- why: Customers' telephones, the store's Wi-Fi and the neighbours' are at work by day. A scan at
--   night hears an empty house and calls every channel quiet.
-- do: Scan again during trading hours.
-- source: common practice, no published source
with timed as (   -- a moment counts where hours and clock are known
    select m.store, m.station, s.opens, s.closes, case m.clock when 'store' then m.scanned_at
        else timezone(z.name, timezone('UTC', m.scanned_at)) end::time as moment_at
    from survey_moment m
    join store_now s on s.store = m.store
    join station_now n on n.store = m.store and n.station = m.station
    left join pg_timezone_names() z on z.name = s.time_zone
), judged as (
    select store, station, opens, closes,
        case when opens < closes then moment_at >= opens and moment_at < closes
            else moment_at >= opens or moment_at < closes end as trading   -- over midnight
    from timed where moment_at is not null and opens is not null and closes is not null
)
select store, station as subject, count(*) as moments, opens, closes
from judged
group by store, station, opens, closes
having not bool_or(trading)
order by store, subject;
