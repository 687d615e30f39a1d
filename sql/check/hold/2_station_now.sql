-- Work the view out once for all rules: the table has its name until it is let go.
create temp table station_now as select * from station_now;
