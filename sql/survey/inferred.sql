-- How busy each channel is by the Wi-Fi survey. `incoming` gives how much of a Wi-Fi signal falls
-- into an IEEE 802.15.4 channel. Networks on one Wi-Fi channel share its air, so the busiest of
-- them counts; different Wi-Fi channels add up as independent.
create or replace temp table inferred as
with heard as (
    select n.store, n.station, o.channel, w.wifi_channel,
        max(coalesce(w.utilisation_pct, u.value)) / 100 as utilisation,
        max(w.seen_on) as seen_on
    from wifi_now w
    join station_now n on n.store = w.store and (w.station is null or w.station = n.station)
    join incoming o on o.wifi_channel = w.wifi_channel and o.width_mhz = w.width_mhz
        -- A 40 MHz network whose second channel is not told may lie on either side.
        and (o.secondary = '' or o.secondary = coalesce(w.secondary, o.secondary))
    cross join setting u cross join setting c
    where u.name = 'utilisation_default_pct' and c.name = 'cca_threshold_dbm'
        and coalesce(w.level_dbm + o.share_db, 0) > c.value
    group by n.store, n.station, o.channel, w.wifi_channel
), surveyed as (
    select distinct n.store, n.station, w.seen_on
    from wifi_now w join station_now n
        on n.store = w.store and (w.station is null or w.station = n.station)
)
select s.store, s.station, c.channel, max(s.seen_on) as seen_on,
    string_agg(distinct cast(h.wifi_channel as varchar), ', '
        order by cast(h.wifi_channel as varchar)) as wifi_channels,
    1 - exp(fsum(ln(greatest(1e-9, 1 - coalesce(h.utilisation, 0))))) as busy_share
from surveyed s cross join (select unnest(range(11, 27)) as channel) c
left join heard h on h.store = s.store and h.station = s.station and h.channel = c.channel
group by s.store, s.station, c.channel;
