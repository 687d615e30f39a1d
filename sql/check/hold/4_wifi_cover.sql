-- Work the view out once for all rules: the table has its name until it is let go.
create temp table wifi_cover as select * from wifi_cover;
