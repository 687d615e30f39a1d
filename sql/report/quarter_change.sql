-- The register at the end of a quarter: changes by state, and those that came to it within it.
select state, sum(changes)::bigint, sum(entered)::bigint
from audit_change where quarter = $quarter
group by state
order by list_position(['proposed', 'deferred', 'approved', 'scheduled', 'implemented', 'verified',
    'ineffective', 'backed out', 'refused', 'lapsed'], state);
