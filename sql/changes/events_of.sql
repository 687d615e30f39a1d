-- The events of the changes of some plans, oldest first.
select e.change, e.state, e.at, e.by, e.note, e.result, e.due
from change_event e join change c using (change)
where c.plan in (select unnest($plans))
order by e.seq;
