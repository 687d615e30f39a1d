-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table ed_reading as select * from ed_reading semi join due_store using (store);
