-- The limits of this run.
select name, value from setting order by name;
