-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table ed_evidence as select * from ed_evidence semi join due_store using (store);
