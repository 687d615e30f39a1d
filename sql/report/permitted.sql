-- The channels the rules permit in each store.
select store, channel from permitted_channel
where store between $first and $last
group by all
order by all;
