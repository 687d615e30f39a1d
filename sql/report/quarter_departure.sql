-- Every departure of a quarter; what nobody approved first, the most clear air lost and the longest
-- standing before the rest.
select coalesce(s.region, 'no region'), d.store, coalesce(s.name, d.store), d.subject, d.field,
    d.agreed, d.found, d.kind, d.meanwhile, d.first_seen, d.stood_days, d.approved_by,
    d.approved_on, d.change, d.exception, d.basis, d.clear_air_lost, u.quarter is not null as open
from drift d
left join audit_store s using (quarter, store)
left join unapproved u using (quarter, store, subject, field)
where d.quarter = $quarter
order by u.quarter is null, d.clear_air_lost desc nulls last, d.stood_days desc nulls last,
    d.store, d.subject, d.field;
