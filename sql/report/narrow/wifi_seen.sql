-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table wifi_seen as select * from wifi_seen semi join due_store using (store);
