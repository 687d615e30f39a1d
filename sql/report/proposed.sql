-- Who put a plan forward, and when.
select any_value(proposed_by), any_value(proposed_on) from change where plan = $plan;
