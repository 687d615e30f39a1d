-- The chosen stores are surveyed anew.
delete from path_fit where store in (select store from due_store);
