-- Every plan of the register, and the one that took its place.
select p.plan, p.store, p.proposed_on, n.plan as superseded_by, n.proposed_on as superseded_on
from change_plan p left join change_plan n on n.supersedes = p.plan
order by p.number;
