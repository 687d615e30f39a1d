-- What the labels of a store's latest labels export listen on: one row per list of channels.
create or replace view store_listens as
with told as (
    select store, seen_on, channels, count(*) as labels from label_seen
    where seen_on <= (select as_of from this_run)
    group by store, seen_on, channels
), latest as (
    select * from told qualify seen_on = max(seen_on) over (partition by store)
)
select store, channels, labels from latest where channels is not null;
