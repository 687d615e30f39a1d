-- The newest day any export speaks of: the run's date where none is given.
select max(seen_on) from (
    select max(seen_on) as seen_on from store_seen
    union all select max(seen_on) from station_seen
    union all select max(seen_on) from label_seen
    union all select max(seen_on) from wifi_seen
    union all select max(seen_on) from heard_seen
    union all select cast(max(scanned_at) as date) from ed_reading
);
