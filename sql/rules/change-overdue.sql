-- name: change-overdue
-- title: A change agreed on has not been made in time
-- severity: fix
-- why: A change scheduled more than {change_overdue_days} days ago, or approved more than
--   {change_unscheduled_days} days ago without a night, leaves the store neither as it was planned
--   nor as it was; the evidence it rests on ages meanwhile.
-- do: Report the result in the change plan if it was made; else give it a new night, or refuse it.
-- source: common practice, no published source
with standing as (
    select c.store, c.station, c.to_channel, s.state,
        cast(if(s.state = 'scheduled', s.due, s."at") as date) as since,
        (select value from setting where name = if(s.state = 'scheduled',
            'change_overdue_days', 'change_unscheduled_days')) as days_allowed
    from change c
    join change_state_on((select day from register_day)) s using (change)
    where s.state in ('approved', 'scheduled') and not c.parking
), aged as (
    select s.*, date_diff('day', s.since, r.as_of) as days from standing s, this_run r
)
select store, station as subject,
    format('Its change to channel {} was {} {}, {} ago, and no result is reported.', to_channel,
        if(state = 'scheduled', 'scheduled for', 'approved on'), strftime(since, '%Y-%m-%d'),
        counted(days, 'day')) as detail,
    since, days
from aged
where days > days_allowed
order by store, subject;
