-- Departures of a quarter by kind: rows, and those new in it. What is unseen was last listed before;
-- it is new where that was in the quarter before.
with told as (
    select kind, first_seen, (left(quarter, 4) || '-01-01')::date
        + to_months(3 * (right(quarter, 1)::integer - 1)) as begins
    from drift where quarter = $quarter
)
select kind, count(*), count(*) filter (coalesce(first_seen
    >= if(kind = 'unseen', begins - interval 3 months, begins), true))
from told
group by kind
order by list_position(['drift', 'replaced hardware', 'renamed', 'new', 'gone', 'deviation',
    'approved change', 'reverted', 'changed and changed back', 'unseen'], kind);
