-- The edition of a quarter's audit in force, and the day of the run that made it; none where the
-- run speaks of a day before the quarter's last.
select edition, e.as_of
from audit_edition e, this_run t
where quarter = $quarter and t.as_of + 1 >= (left(quarter, 4) || '-01-01')::date
    + to_months(3 * right(quarter, 1)::integer)
order by edition desc limit 1;
