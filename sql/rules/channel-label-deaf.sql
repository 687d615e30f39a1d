-- name: channel-label-deaf
-- title: Channel that the store's labels do not listen on
-- title.de: Kanal, auf dem die Schilder nicht hören
-- severity: stop
-- says: On channel {channel}, on which {deaf_labels} of the {labels:# label|# labels} with a known
--   list do not listen.
-- says.de: Auf Kanal {channel}; dort {deaf_labels:hört|hören} {deaf_labels} von {labels:# Schild|#
--   Schildern} mit bekannter Kanalliste nicht.
-- why: A label looks for its station only on the channels it was given. On any other channel the
--   station cannot be found: those labels keep their old price until it comes back.
-- do: Before anything else, move the station back to a channel that every label listens on, or
--   give the labels this channel.
-- source: common practice, no published source
with deaf as (
    select s.store, s.station, s.channel, sum(l.labels)::bigint as labels,
        sum(l.labels) filter (
            not list_contains(string_split(l.channels, ' '), s.channel::varchar))::bigint
            as deaf_labels
    from station_now s
    join store_listens l on l.store = s.store
    group by s.store, s.station, s.channel
)
select store, station as subject, channel, deaf_labels, labels
from deaf
where deaf_labels is not null
order by store, subject;
