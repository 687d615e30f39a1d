-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table store_seen as select * from store_seen semi join due_store using (store);
