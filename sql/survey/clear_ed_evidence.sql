-- The chosen stores are surveyed anew.
delete from ed_evidence where store in (select store from due_store);
