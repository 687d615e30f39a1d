-- The chosen stores are surveyed anew.
delete from station_load where store in (select store from due_store);
