-- The 802.15.4 channels (2 MHz wide) that today's Wi-Fi networks lie over, and the level of
-- each network within them: its power spread evenly over its width.
-- Centres: 2407 + 5 n MHz, 2484 MHz for 14 (IEEE 802.11); 2405 + 5 (k - 11) MHz (IEEE 802.15.4).
-- A 40 MHz network that does not say where its second half lies may lie on either side.
create or replace view wifi_cover as
with network as (
    select *, case wifi_channel when 14 then 2484 else 2407 + 5 * wifi_channel end
        + unnest(case when width_mhz < 40 then [0] when secondary = 'above' then [10]
            when secondary = 'below' then [-10] else [-10, 10] end) as centre_mhz
    from wifi_now
), channels as (select unnest(range(11, 27))::integer as channel)
select distinct n.store, n.station, c.channel, n.network, n.wifi_channel, n.width_mhz,
    n.level_dbm, round(n.level_dbm - 10 * log10(n.width_mhz / 2), 3) as in_channel_dbm
from network n
join channels c on abs(2405 + 5 * (c.channel - 11) - n.centre_mhz) - 1 < n.width_mhz / 2;
