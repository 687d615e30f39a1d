-- The latest edition of a quarter's audit.
select edition, facts, as_of from audit_edition where quarter = $quarter
order by edition desc limit 1;
