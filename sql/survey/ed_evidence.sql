-- One row per station of today and channel: measured where there is a scan, else inferred from the
-- Wi-Fi survey, else absent. The bound is the Wilson score upper bound for the readings' worth, so
-- that few, old or night-time readings promise little.
insert into ed_evidence
with limits as (
    select max(value) filter (name = 'confidence_z') as z,
        max(value) filter (name = 'inferred_worth') as inferred_worth,
        max(value) filter (name = 'absent_busy_share') as absent
    from setting
), joined as (
    select n.store, n.station, c.channel, m.readings, m.mean_dbm, m.p50_dbm, m.p90_dbm, m.p99_dbm,
        coalesce(m.own_traffic, false) as own_traffic, m.newest_at, m.days, m.statistic,
        i.wifi_channels, i.seen_on,
        case when m.readings is not null then 'measured' when i.seen_on is not null then 'inferred'
            else 'absent' end as source,
        coalesce(m.busy_share, i.busy_share) as p,
        coalesce(m.worth, l.inferred_worth) as w, l.z, l.absent
    from station_now n cross join (select unnest(range(11, 27)) as channel) c cross join limits l
    left join measured m on m.store = n.store and m.station = n.station and m.channel = c.channel
    left join inferred i on i.store = n.store and i.station = n.station and i.channel = c.channel
)
select store, station, channel, coalesce(readings, 0),
    round(if(source = 'absent', 0, w), 3), round(p, 6),
    round(case when p is null then absent else least(1, (p + z * z / (2 * w)
        + z * sqrt(p * (1 - p) / w + z * z / (4 * w * w))) / (1 + z * z / w)) end, 6),
    round(mean_dbm, 3), round(p50_dbm, 3), round(p90_dbm, 3), round(p99_dbm, 3),
    own_traffic, source, wifi_channels, newest_at,
    case source
        when 'measured' then format('{} readings on {} {}, newest {}, worth {:.0f} fresh ones{}{}',
            readings, days, if(days = 1, 'day', 'days'), strftime(newest_at, '%Y-%m-%d'), w,
            if(statistic = 'single', '', '; each the ' || statistic || ' of its dwell'),
            if(own_traffic, '; beside our own traffic, whose share is taken out', ''))
        when 'inferred' then format('no scan; Wi-Fi survey of {}: {}', seen_on,
            coalesce('Wi-Fi channel ' || wifi_channels, 'no Wi-Fi on this channel'))
        else 'neither scanned nor covered by a Wi-Fi survey' end
from joined
order by store, station, channel;
