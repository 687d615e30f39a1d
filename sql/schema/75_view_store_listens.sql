-- What the labels of a store's latest labels export listen on: one row per list of channels.
create or replace view store_listens as
with newest as (
    select store, max(seen_on) as seen_on from label_seen
    where seen_on <= (select as_of from this_run) group by store
)
select store, l.channels, count(*) as labels
from label_seen l join newest using (store, seen_on)
where l.channels is not null
group by store, l.channels;
