-- The state of every change at the end of a day, from its events up to then.
create or replace macro change_state_on(day) as table
select change, state, "at", "by", note, result, due, seq
from change_event
where "at" < cast(day as timestamp) + interval 1 day
qualify row_number() over (partition by change order by seq desc) = 1;
