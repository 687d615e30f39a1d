-- Stores with a change that waits for an export: it was agreed, and nothing has settled it yet.
select distinct c.store
from change_state_on(date '9999-12-30') s join change c using (change)
where s.state in ('approved', 'scheduled', 'implemented', 'ineffective')
order by c.store;
