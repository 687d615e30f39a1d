-- Wi-Fi transmitters, by hardware address, that more than one store hears. Names are left out: the
-- chain's own network has one name everywhere.
with heard as (
    select distinct store, lower(replace(network, '-', ':')) as network
    from wifi_now
    where regexp_full_match(lower(network), '[0-9a-f]{2}([:-][0-9a-f]{2}){5}')
        and network not in ('00:00:00:00:00:00', 'ff:ff:ff:ff:ff:ff')
)
select network, store from heard
qualify count(*) over (partition by network) > 1
order by network, store;
