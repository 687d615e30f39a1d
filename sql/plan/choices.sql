-- Channels a store may use: permitted by the rules and listened to by every label that says so.
with told as (
    select store, channels, count(*) as labels
    from label_now where channels is not null group by store, channels
), listening as (
    select store, cast(unnest(string_split(channels, ' ')) as integer) as channel, labels
    from told
), heard_by_all as (
    select l.store, l.channel from listening l
    group by l.store, l.channel
    having sum(l.labels) = (select sum(t.labels) from told t where t.store = l.store)
)
select p.store, p.channel
from permitted_channel p semi join due_store using (store)
where exists (select 1 from heard_by_all h where h.store = p.store and h.channel = p.channel)
    or not exists (select 1 from told t where t.store = p.store)
order by p.store, p.channel;
