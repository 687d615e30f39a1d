-- Every store of which a stations export speaks.
select distinct store from station_seen order by store;
