-- name: advance
-- Move what is agreed forward by the changes verified, once each, as of the day they were, to the
-- channel that their last approval by a person ordered; and back by those backed out, whether or not
-- a baseline was approved before. Where a plan led over another channel, going back ends on the one
-- before the plan. A step backed out without ever having been
-- verified leaves things as they were agreed.
insert into baseline by name
with moved as (
    select c.store, c.station, c.change, c.plan, c.position, e."at", e.seq, e.state,
        if(e.state = 'verified', coalesce((
            select arg_max_null(a.channel, a.seq) from change_event a
            where a.change = e.change and a.state = 'approved' and a.result is null
                and a.seq < e.seq), c.to_channel), c.from_channel)::varchar as value,
        exists (from change_event v
            where v.change = e.change and v.state = 'verified' and v.seq < e.seq) as was_verified
    from change_event e join change c using (change)
    where e.state = 'verified' and not c.parking or e.state = 'backed out'
), once as (
    select * from moved m
    where not exists (from baseline b where b.change = m.change and b.field = 'channel'
            and b.value is not distinct from m.value)
        and (state = 'verified' or was_verified or m.value is distinct from (
            select max_by(b.value, (b.approved_on, b.version)) from baseline b
            where b.store = m.store and b.station = m.station and b.field = 'channel'
                and b.approved_on <= m.at::date))
    qualify row_number() over (partition by change, value order by seq) = 1
), approval as (
    select o.change, o.value, max_by(a.by, a.seq) as by
    from once o join change_event a using (change)
    where a.state = 'approved' and a.result is null and a.seq < o.seq group by o.change, o.value
), last_version as (select store, max(version) as version from baseline group by store
), reported as (
    select *, max(seq) over (partition by plan, station, state, "at") as last_seq from once
), ordered as (
    select *, row_number() over (partition by store
        order by "at", last_seq, if(state = 'verified', position, -position)) as nth
    from reported
)
select coalesce(l.version, 0) + o.nth as version,
    o.store, o.station, 'channel' as field, o.value,
    coalesce(a.by, 'nobody on record') as approved_by, o.at::date as approved_on,
    if(o.state = 'verified', 'change verified', 'change backed out') as reason, o.change
from ordered o
left join last_version l using (store)
left join approval a using (change, value)
order by o.store, o.nth
returning change;

-- name: accept
-- Agree to what stations set for the first time were accepted with at commissioning, once each.
insert into baseline by name
with accepted as (
    select c.*, e."at", e.seq, coalesce((
            select arg_max_null(a.channel, a.seq) from change_event a where a.change = e.change
                and a.state = 'approved' and a.result is null and a.seq < e.seq), c.to_channel)
            as ordered_channel,
        (select arg_max(a."by", a.seq) from change_event a where a.change = e.change
            and a.state = 'approved' and a.result is null and a.seq < e.seq) as approved_by
    from change_event e join change c using (change)
    where e.result = 'accepted'
        and not exists (from baseline b where b.change = c.change and b.field = 'station')
    qualify row_number() over (partition by c.change order by e.seq desc) = 1
), last_version as (select store, max(version) as version from baseline group by store
), numbered as (
    select a.*, coalesce(l.version, 0)
        + row_number() over (partition by a.store order by a."at", a.seq) as version
    from accepted a left join last_version l using (store)
)
select version, store, station, f.field, f.value,
    coalesce(approved_by, 'nobody on record') as approved_by, cast("at" as date) as approved_on,
    'accepted at commissioning' as reason, change
from numbered, unnest([
    {'field': 'station', 'value': station},
    {'field': 'channel', 'value': cast(ordered_channel as varchar)},
    {'field': 'pan_id', 'value': printf('0x%04X', pan_id)},
    {'field': 'tx_power_dbm', 'value': format('{:g}', tx_power_dbm)},
    {'field': 'name', 'value': name}]) u(f)
where f.value is not null
order by store, version, f.field;

-- name: agreements
-- What was agreed up to $last, in the order it was approved.
select * from baseline
where approved_on <= $last and ($store is null or store = $store)
order by store, approved_on, version, station, field;

-- name: known_stores
-- Every store of which a stations export speaks.
select distinct store from station_seen order by store;

-- name: hanging_stores
-- Every store of which a stations export speaks of more than stations to be installed.
select distinct store from station_seen where coalesce(status, 'installed') = 'installed'
order by store;

-- name: latest_versions
-- The latest version of each store's baseline, and the last day anything was approved for.
select store, max(version) as version, max(approved_on) as approved_on from baseline group by store;
