-- Work the view out once for all rules: the table has its name until it is let go.
create temp table in_earshot as select * from in_earshot;
