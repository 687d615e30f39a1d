-- The stores of this run, with what decides their permitted channels.
select store, region, store_type from store_now order by store;
