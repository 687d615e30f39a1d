-- The chosen stores are surveyed anew.
delete from earshot where store in (select store from due_store);
