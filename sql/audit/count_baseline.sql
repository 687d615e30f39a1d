-- How many rows the baseline has.
select count(*) from baseline;
