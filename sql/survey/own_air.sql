-- For every station, scan day and channel: was one of our own stations in earshot on that channel,
-- or beside it, that day, and what share of the time would it leave free.
create or replace temp table own_air as
with days as (
    select distinct r.store, r.station, cast(r.scanned_at as date) as scan_day
    from ed_reading r join station_now n on n.store = r.store and n.station = r.station
), on_air as (
    select d.store, d.station, d.scan_day, h.channel,
        coalesce(l.air_share, 0) as air_share,
        -- Its own labels answer on its own channel while a station listens there.
        if(h.station = d.station, 1, e.hit_co) as hit_co,
        if(h.station = d.station, 0, e.hit_adjacent) as hit_adjacent,
        if(h.station = d.station, 0, e.hit_alternate) as hit_alternate
    from days d
    join station_history h on h.store = d.store
        and h.valid_from <= greatest(d.scan_day, (select min(f.valid_from) from station_history f
            where f.store = h.store and f.station = h.station))
        and (h.valid_to is null or h.valid_to > d.scan_day)
    left join earshot e
        on e.store = d.store and e.station = d.station and e.neighbour = h.station
    left join station_load l on l.store = h.store and l.station = h.station
    where h.station = d.station or e.hit_co is not null
), spread as (
    select store, station, scan_day, channel, air_share, hit_co as hit from on_air
    union all select store, station, scan_day, channel + o.step, air_share, hit_adjacent
    from on_air, (values (-1), (1)) o(step)
    union all select store, station, scan_day, channel + o.step, air_share, hit_alternate
    from on_air, (values (-2), (2)) o(step)
)
select store, station, scan_day, channel,
    exp(fsum(ln(greatest(1e-9, 1 - air_share * hit)))) as free_of_own
from spread
where hit >= (select value from setting where name = 'own_traffic_probability')
group by store, station, scan_day, channel;
