-- Add plans to the register, numbered on.
insert into change_plan
select (select coalesce(max(number), 0) from change_plan) + row_number() over (order by store),
    plan, store, fingerprint, choices, moves, proposed_on,
    (select run from this_run), supersedes
from incoming order by store;
