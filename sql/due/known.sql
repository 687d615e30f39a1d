-- What each store was last computed from in one step.
select store, fingerprint from computed where step = $step order by store;
