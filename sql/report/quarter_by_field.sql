-- What nobody approved, by field, the most first.
select field, count(*) as departures, count(*) filter (begun) as begun
from unapproved where quarter = $quarter
group by field order by departures desc, field;
