-- Every store of today with its region, in the order reports are written.
select store, name, region from store_now order by store;
