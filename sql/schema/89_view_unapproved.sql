-- What departs from the baseline with nobody's approval, by quarter; begun: first seen within it.
create or replace view unapproved as
select *, coalesce(first_seen >= (left(quarter, 4) || '-01-01')::date
    + to_months(3 * (right(quarter, 1)::integer - 1)), true) as begun
from drift
where kind in ('drift', 'replaced hardware', 'renamed', 'new', 'gone');
