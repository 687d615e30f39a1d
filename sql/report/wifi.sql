-- The Wi-Fi seen in each store: networks of one channel and width drawn as one.
select store, wifi_channel, width_mhz, secondary, count(distinct network) as networks,
    max(level_dbm) as strongest_dbm, round(fsum(utilisation_pct) / count(utilisation_pct), 3) as utilisation_pct
from wifi_now
where store in (select store from due_store)
group by all
order by store, wifi_channel, width_mhz, secondary nulls first;
