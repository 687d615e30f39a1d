-- The rules file of the last run.
select text from rules_kept;
