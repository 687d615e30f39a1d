-- The chosen stores are planned anew; the table holds the current plan only.
delete from station_plan where store in (select store from due_store);
