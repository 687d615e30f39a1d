-- Only the chosen stores are looked at: the table has its name until it is let go.
create temp table earshot as select * from earshot semi join due_store using (store);
