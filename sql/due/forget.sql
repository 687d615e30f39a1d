-- The chosen stores are computed anew.
delete from computed where step = $step and store in (select store from due_store);
