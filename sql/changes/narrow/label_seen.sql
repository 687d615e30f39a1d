-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table label_seen as select * from label_seen semi join due_store using (store);
