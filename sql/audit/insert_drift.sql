-- Keep the departures, with the clear air that a channel other than the agreed one costs: by the
-- last run of the quarter or before that found the station on that very channel.
insert into drift
with last_day as (
    select quarter, (left(quarter, 4) || '-01-01')::date
        + to_months(3 * right(quarter, 1)::integer) - interval 1 day as day
    from (select distinct quarter from incoming)
), cost as (
    select i.quarter, i.store, i.subject, max_by(k.clear_air_agreed - k.clear_air, k.rowid) as lost
    from incoming i
    join last_day d using (quarter)
    join clear_air_kept k on k.store = i.store and k.station = i.subject and k.as_of <= d.day
        and k.as_of >= i.first_seen
        and k.channel = try_cast(i.found as integer)
        and k.agreed_channel = try_cast(i.agreed as integer)
    where i.field = 'channel'
    group by i.quarter, i.store, i.subject
)
select i.quarter, i.store, i.subject, i.field, i.agreed, i.found, i.kind, i.meanwhile, i.first_seen,
    i.stood_days, i.approved_by, i.approved_on, i.change, i.exception, i.basis,
    if(i.field = 'channel', round(c.lost, 6), null) as clear_air_lost
from incoming i
left join cost c using (quarter, store, subject)
order by i.quarter, i.store, i.subject, i.field;
