-- The limits of this run, from the rules file, as rules read them.
create table if not exists setting (name varchar primary key, value double not null);
