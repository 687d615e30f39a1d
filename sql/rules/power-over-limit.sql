-- name: power-over-limit
-- title: A station transmits above the site's power limit
-- severity: stop
-- why: The limit of {tx_power_limit_dbm} dBm is what was agreed for these sites. More power reaches
--   further than the plan reckons with and may break the licence-free conditions of the band.
-- do: Reduce the power now. What is lawful is for the national regulator to say: many limit 2.4 GHz
--   to 20 dBm e.i.r.p. and the power density further; count the antenna's gain in.
-- source: The rules file, limits.tx_power_limit_dbm; EN 300 328 for Europe.
select s.store, s.station as subject,
    format('Transmits at {:.1f} dBm, {:.1f} dB over the limit of {:.1f} dBm.', s.tx_power_dbm,
        s.tx_power_dbm - x.value, x.value) as detail,
    s.tx_power_dbm
from station_now s, setting x
where x.name = 'tx_power_limit_dbm' and s.tx_power_dbm > x.value
order by s.store, subject;
