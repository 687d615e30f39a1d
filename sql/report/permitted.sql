-- The channels the rules permit in each store.
select store, channel from permitted_channel
where store in (select store from due_store)
group by all
order by all;
