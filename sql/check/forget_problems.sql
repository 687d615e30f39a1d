-- Forget which rules an earlier pass of this very run could not use.
delete from rule_problem where run = (select run from this_run);
