-- The day of the first stations export of any store.
select min(seen_on) from station_seen;
