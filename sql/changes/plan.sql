-- name: planned_stores
-- Every store this run made a plan for: what its channels may be, and the day of the stations export
-- the plan rests on. Where none could be made, the plan in force and what people ordered stand.
select s.store,
    coalesce((select string_agg(distinct p.channel, ' ' order by p.channel) from permitted_channel p
        where p.store = s.store), '') as choices,
    coalesce((select max(n.seen_on) from station_now n where n.store = s.store), r.as_of) as seen_on
from plan_proof s cross join this_run r
order by s.store;

-- name: planned_moves
-- The moves of the plan of this run, with what each rests on. Labels gone silent do not count.
select m.store, m.station, m.from_channel, m.to_channel, m.position, m.parking,
    m.clear_air_before, m.clear_air_before_low, m.clear_air_before_high, m.clear_air_after,
    m.clear_air_after_low, m.clear_air_after_high, m.chance,
    coalesce(l.labels - l.silent_labels, 0) as labels, p.sureness,
    round(least(1, m.clear_air_before / nullif(1 - e.busy_estimate, 0)), 6) as free_of_own_before,
    m.group_no, m.facts, m.pan_id, m.tx_power_dbm, m.name
from move m
join station_plan p on p.store = m.store and p.station = m.station
left join ed_evidence e on e.store = m.store and e.station = m.station and e.channel = p.channel_now
left join station_load l on l.store = m.store and l.station = m.station
order by m.store, m.position;

-- name: plans_in_force
-- The plan in force of every store: the last one registered.
select * from plan_in_force order by store;

-- name: changes_in_force
-- The changes of every plan in force with the channel ordered, where each stands, and when it was
-- carried out.
with told as (
    select change, max("at") filter (state = 'implemented') as carried_at,
        max_by(e, seq) filter (state = 'approved') as ordered,
        max_by(e, seq) filter (state = 'approved' and result is null) as agreed
    from change_told e group by change
)
select c.store, c.change, c.station, c.from_channel,
    coalesce(t.ordered.channel, c.to_channel) as to_channel, c.position, c.parking,
    s.state, s.at, t.carried_at,
    t.agreed.said_on as agreed_on, t.agreed.said_in as agreed_in, t.agreed."by" as agreed_by,
    t.agreed.workbook
from change_matched c
join plan_in_force f on f.plan = c.plan
join change_state_on(date '9999-12-30') s on s.change = c.change
join told t on t.change = c.change
order by c.store, c.position;
