-- name: station_bound
-- What binds a station to a channel, and why. 'exception': one to channel-not-permitted keeps it
-- where it is; 'agreed': people have agreed on a change and no export has judged it; 'held': a rule
-- holds it (see plan_bound), `by` being the rule; 'settled': it was changed lately as ordered, and
-- moves again only for what must not go on or a gain that is sure. Of several, the first counts.
create or replace view station_bound as
with force as (
    select plan from change_plan
    qualify row_number() over (partition by store order by number desc) = 1
), bound as (
    select 2 as rank, c.store, c.station, 'agreed' as why, c.ordered_channel as channel, c.position,
        c.decided_by as "by", c.decided_on as day, null as detail, null as facts
    from change_story c semi join force f on f.plan = c.plan
    where c.state in ('approved', 'scheduled', 'implemented')
    union all
    select 1, n.store, n.station, 'exception', n.channel, 0, x.approved_by, null, null, null
    from station_now n
    join exception x on x.rule = 'channel-not-permitted'
        and x.store in ('*', n.store) and x.subject in ('*', n.station)
    join this_run r on x.until >= r.as_of
    union all
    select 3, n.store, n.station, 'held', n.channel, 0, b.rule, n.seen_on, b.detail, b.facts
    from plan_bound b join station_now n using (store, station)
    where b.kind = 'hold' and n.channel between 11 and 26
    union all
    select 4, c.store, c.station, 'settled', n.channel, c.position, null,
        coalesce(c.done_on, c.closed_on), null, null
    from change_story c
    join station_now n on n.store = c.store and n.station = c.station
        and n.channel = c.ordered_channel
    join permitted_channel p on p.store = n.store and p.channel = n.channel
    join this_run r on coalesce(c.done_on, c.closed_on) > r.as_of - coalesce((
        select cast(value as integer) from setting where name = 'settled_days'), 0)
    where c.closed = 'as ordered' and not c.parking
)
select store, station, why, channel, "by", day, detail, facts
from bound where channel is not null
qualify row_number() over (
    partition by store, station order by rank, position desc, "by" nulls last, day, detail) = 1;

-- name: channel_refused
-- Moves that were refused and are not put forward again: until the day that was said, or else until
-- the station was scanned after the refusal, is on another channel, or is agreed on anew.
create or replace view channel_refused as
with refused as (
    select c.*, row_number() over (
        partition by c.store, c.station, c.ordered_channel order by c.decided_on desc, c.change desc
    ) as place
    from change_story c
    join station_now n on n.store = c.store and n.station = c.station and n.channel = c.from_channel
    where not c.parking and c.decision is not null
), last_scan as (
    select r.store, r.station, max(cast(e.scanned_at as date)) as day
    from reading_matched e join refused r on r.store = e.store and r.station = e.station
    where r.state = 'refused' group by r.store, r.station
)
select r.store, r.station, r.to_channel as channel, r.decided_by as "by", r.decided_on as day,
    r.refused_until as until, nullif(r.decided_note, '') as note
from refused r
cross join this_run t
left join last_scan l using (store, station)
where r.place = 1 and r.state = 'refused'
    and coalesce(t.as_of < r.refused_until, coalesce(l.day <= r.decided_on, true));
