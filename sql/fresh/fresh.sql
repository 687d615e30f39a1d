-- name: choose
-- Name the stores that the next statements are about.
create or replace temp table due_store as select store from incoming order by store;

-- name: forget
-- Forget what the chosen stores were last computed from in one step.
delete from computed where step = $step and store in (select store from due_store);

-- name: known
-- What each store was last computed from in one step.
select store as key, fingerprint as value from computed where step = $step order by store;
