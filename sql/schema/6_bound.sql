-- name: station_then
-- The stations of each plan's store as its latest export up to the plan's day has them, and the
-- channel each ends on once the plan is carried out; also of the stores planned together with it, by
-- their plans in force once the run had registered this one.
create or replace view station_then as
with registered as (select run, max(number) as number from change_plan group by run
), around as (
    select plan, store, proposed_on, store as of_store, plan as of_plan from change_plan
    union all
    select p.plan, p.store, p.proposed_on, o.store, (select max_by(q.plan, q.number)
        from change_plan q where q.store = o.store and q.number <= r.number)
    from change_plan p join registered r using (run) join store_joined j using (store)
    join store_joined o on o.joint = j.joint and o.store <> p.store
), latest as (
    select a.store, a.plan, a.of_store, any_value(a.of_plan) as of_plan, max(s.seen_on) as seen_on
    from around a join station_seen s on s.store = a.of_store and s.seen_on <= a.proposed_on
    group by a.store, a.plan, a.of_store
), ends as (
    select plan, station, max_by(to_channel, position) as channel from change group by plan, station
)
select l.store, l.plan, l.of_store, s.station, min(s.channel) as channel,
    coalesce(any_value(e.channel), min(s.channel)) as final
from latest l
join station_seen s on s.store = l.of_store and s.seen_on = l.seen_on
left join ends e on e.plan = l.of_plan and e.station = s.station
group by l.store, l.plan, l.of_store, s.station;

-- name: channel_refused
-- Moves that were refused and are not put forward again: until the day that was said, or else until
-- the evidence changes. Here it has changed where the station is on another channel or agreed on
-- anew, where it serves more or fewer labels by a share, and where a station in earshot is on a
-- channel that it neither had then nor was to have. `gain_low` and `gain_high` are the interval of
-- the gain of then; the plan holds its estimate of now against them.
create or replace view channel_refused as
with decided as (
    select s.*, c.labels, c.clear_air_after - c.clear_air_before as gain,
        sqrt(pow(c.clear_air_after - c.clear_air_after_low, 2)
            + pow(c.clear_air_before_high - c.clear_air_before, 2)) as down,
        sqrt(pow(c.clear_air_after_high - c.clear_air_after, 2)
            + pow(c.clear_air_before - c.clear_air_before_low, 2)) as up,
        row_number() over (
            partition by s.store, s.station, s.ordered_channel
            order by s.decided_on desc, s.change desc) as place
    from change_story s
    join change c using (change)
    join station_in_plan n on n.store = s.store and n.station = s.station
        and n.channel is not distinct from s.from_channel
    where not s.parking and s.decision is not null
), refused as (
    from decided where place = 1 and state = 'refused'
), close as (
    from earshot_all
    where hit_co >= (select value from setting where name = 'earshot_probability')
), beside as (
    select store, station, neighbour_store as other_store, neighbour as other from close
    union select neighbour_store, neighbour, store, station from close
), moved as (
    select distinct r.change
    from refused r
    join beside e using (store, station)
    join station_now n on n.store = e.other_store and n.station = e.other
    left join station_then t on t.plan = r.plan and t.of_store = n.store and t.station = n.station
    where coalesce(n.channel not in (t.channel, t.final), true)
)
select r.store, r.station, r.plan, r.to_channel as channel, r.decided_by as "by",
    r.decided_on as day, r.refused_until as until, nullif(r.decided_note, '') as note,
    round(r.gain - r.down, 6) as gain_low, round(r.gain + r.up, 6) as gain_high
from refused r
cross join this_run t
left join station_load l using (store, station)
where case when r.refused_until is not null then t.as_of < r.refused_until
    else r.change not in (select change from moved)
        and abs(coalesce(l.labels - l.silent_labels, 0) - r.labels)
            <= (select value from setting where name = 'labels_changed_share') * greatest(r.labels, 1)
    end;

-- name: station_bound
-- What binds a station to a channel, and why. 'exception': one to channel-not-permitted keeps it
-- where it is; 'agreed': people have agreed on a change and no export has judged it; 'held': a rule
-- holds it (see plan_bound), `by` being the rule; 'put_back': an approver answered the audit that it is
-- to go back to the channel agreed; 'settled': it was changed lately as ordered, and moves again only
-- for what must not go on or a gain that is sure. Of several, the first counts.
create or replace view station_bound as
with answered as (
    select a.store, a.subject as station, max_by(a, (a.answered_on, a.rowid)) as last
    from drift_answer a, register_day d
    where a.field = 'channel' and a.answered_on <= d.day group by a.store, a.subject
), bound as (
    select 2 as rank, c.store, c.station, 'agreed' as why, c.ordered_channel as channel, c.position,
        c.decided_by as "by", c.decided_on as day, null as detail, null as facts
    from change_story c semi join plan_in_force f on f.plan = c.plan
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
    select 4, n.store, n.station, 'put_back', p.channel, 0, a.last.answered_by,
        a.last.answered_on, null, null
    from answered a
    join station_now n on n.store = a.store and n.station = a.station
        and cast(n.channel as varchar) = a.last.found
    join permitted_channel p on p.store = n.store and cast(p.channel as varchar) = a.last.agreed
    where a.last.answer = 'put back'
        and not exists (from baseline b where b.store = n.store and b.station = n.station
            and b.field = 'channel' and b.approved_on > a.last.answered_on)
        and not exists (from channel_refused r where r.store = n.store and r.station = n.station
            and r.channel = p.channel and r.day >= a.last.answered_on)
    union all
    select 5, c.store, c.station, 'settled', n.channel, c.position, null,
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
