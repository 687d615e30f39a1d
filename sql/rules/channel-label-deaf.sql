-- name: channel-label-deaf
-- title: A station is on a channel its store's labels do not listen on
-- severity: stop
-- why: A label looks for its station only on the channels it was given. On any other channel the
--   station cannot be found: those labels keep their old price until it comes back.
-- do: Move the station back to a channel every label listens on before anything else, or give the
--   labels the channel first.
-- source: common practice, no published source
with deaf as (
    select s.store, s.station, s.channel, sum(l.labels) as labels,
        sum(l.labels) filter (
            not list_contains(string_split(l.channels, ' '), s.channel::varchar)) as deaf_labels
    from station_now s
    join store_listens l on l.store = s.store
    group by s.store, s.station, s.channel
)
select store, station as subject,
    format('On channel {}, on which {} of the {} with a known list do not listen.',
        channel, deaf_labels, counted(labels, 'label')) as detail,
    channel, deaf_labels, labels
from deaf
where deaf_labels is not null
order by store, subject;
