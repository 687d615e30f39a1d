-- The chosen stores are surveyed anew.
delete from reading_today where store in (select store from due_store);
