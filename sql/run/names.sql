-- The stores and regions there are, to check what was asked for.
select store, region from store_now order by store;
