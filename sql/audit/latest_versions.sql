-- The latest version of each store's baseline, and the last day anything was approved for.
select store, max(version) as version, max(approved_on) as approved_on from baseline group by store;
