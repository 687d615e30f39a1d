-- name: choose
-- The stores the next statements are about.
create or replace temp table due_store as select store from incoming order by store;

-- name: day
-- The day of this run.
select as_of from this_run;

-- name: forget
-- The chosen stores are computed anew.
delete from computed where step = $step and store in (select store from due_store);

-- name: keep
-- What the chosen stores are computed from now.
insert into computed
select $step, store, fingerprint from incoming order by store;

-- name: known
-- What each store was last computed from in one step.
select store as key, fingerprint as value from computed where step = $step order by store;

-- name: limits
-- The limits of this run.
select name as key, value from setting order by name;
