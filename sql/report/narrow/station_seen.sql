-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table station_seen as select * from station_seen semi join due_store using (store);
