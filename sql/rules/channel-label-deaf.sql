-- name: channel-label-deaf
-- title: A station is on a channel its store's labels do not listen on
-- severity: stop
-- why: A label looks for its station only on the channels it was given. On any other channel the
--   station cannot be found: those labels keep their old price until it comes back.
-- do: Move the station back to a channel every label listens on before anything else, or give the
--   labels the channel first.
-- source: common practice, no published source
with deaf as (
    select s.store, s.station, s.channel, sum(l.labels) as deaf_labels
    from station_now s
    join store_listens l on l.store = s.store
    where not list_contains(string_split(l.channels, ' '), s.channel::varchar)
    group by s.store, s.station, s.channel
), listening as (select store, sum(labels) as labels from store_listens group by store)
select d.store, d.station as subject,
    format('On channel {}, on which {} of the {} with a known list do not listen.',
        d.channel, d.deaf_labels, counted(n.labels, 'label')) as detail,
    d.channel, d.deaf_labels, n.labels
from deaf d
join listening n on n.store = d.store
order by d.store, subject;
