-- The stores the next statements are about.
create or replace temp table due_store as select store from incoming order by store;
