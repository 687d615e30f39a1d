-- Let the table of all stores have its name back.
drop table if exists temp.main.label_seen;
