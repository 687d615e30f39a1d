-- Which rules fail, where most often, and since when; the rule with most standing findings first.
select rule, stores, findings, excepted, new_findings, gone_findings,
    first_seen, last_seen, gone_since
from rule_standing
order by findings - excepted desc, rule;
