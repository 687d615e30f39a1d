-- Keep the limits of this run.
insert into setting select name, value from incoming order by name;
