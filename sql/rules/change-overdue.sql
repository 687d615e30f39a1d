-- name: change-overdue
-- title: Change overdue
-- title.de: Umstellung überfällig
-- severity: fix
-- says: Its change to channel {to_channel} was
--   {state:case scheduled=scheduled for|approved=approved on} {since:day}, {days:# day|# days} ago,
--   and {state:case scheduled=no result has been reported|approved=has no night to come}.
-- says.de: Die Umstellung auf Kanal {to_channel} war {state:case scheduled=für den {since:day}
--   geplant|approved=am {since:day} genehmigt worden}, vor {days:# Tag|# Tagen};
--   {state:case scheduled=ein Ergebnis fehlt|approved=sie hat keine Nacht vor sich}.
-- why: A change scheduled more than {change_overdue_days} days ago, or approved more than
--   {change_unscheduled_days} days ago without a night, leaves the store neither as it was planned
--   nor as it was; meanwhile the evidence behind it ages.
-- do: If the change was made, report the result in the change plan; else give it a new night, or
--   refuse it.
-- source: common practice, no published source
with aged as (
    select s.store, s.station, s.ordered_channel as to_channel,
        if(s.overdue, 'scheduled', 'approved') as state, s.waits_since as since,
        date_diff('day', s.waits_since, r.as_of) as days,
        if(s.overdue, limit_of('change_overdue_days'), limit_of('change_unscheduled_days'))
            as days_allowed
    from change_story s, this_run r
    where (s.overdue or s.waits_for = 'night') and not s.parking
)
select store, station as subject, to_channel, state, since, days
from aged
where days > days_allowed
order by store, subject;
