-- The chosen stores are planned anew; the table holds the current plan only.
delete from unplanned_store where store in (select store from due_store);
