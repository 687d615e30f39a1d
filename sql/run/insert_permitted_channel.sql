-- Keep the channels permitted to each store.
insert into permitted_channel select store, channel from incoming order by store, channel;
