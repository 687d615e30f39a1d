-- Empty the table: it holds the rules of the last run only.
delete from rules_kept;
