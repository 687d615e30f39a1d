-- The chosen stores are surveyed anew.
delete from path_residual where store in (select store from due_store);
