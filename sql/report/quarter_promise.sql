-- Promised against measured clear air of the changes checked in a quarter.
select store, station, change, sureness, was, promised, measured, readings, checked_on
from audit_promise where quarter = $quarter
order by store, station, change;
