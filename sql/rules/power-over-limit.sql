-- name: power-over-limit
-- title: Transmit power over the limit
-- title.de: Sendeleistung über dem Grenzwert
-- severity: stop
-- says: Transmits at {tx_power_dbm:.1f} dBm, {over_db:.1f} dB over the limit of {limit_dbm:.1f}
--   dBm.
-- says.de: Sendet mit {tx_power_dbm:.1f} dBm, {over_db:.1f} dB über dem Grenzwert von
--   {limit_dbm:.1f} dBm.
-- why: The limit of {tx_power_limit_dbm} dBm is what was agreed for these sites. More power reaches
--   further than the plan allows for and may break the licence-free conditions of the band.
-- do: Reduce the power now. What is lawful is for the national regulator to say: many limit 2.4 GHz
--   to 20 dBm e.i.r.p. and limit the power density too; include the antenna's gain.
-- source: The rules file, limits.tx_power_limit_dbm; EN 300 328 for Europe.
select store, station as subject, tx_power_dbm, limit_of('tx_power_limit_dbm') as limit_dbm,
    tx_power_dbm - limit_of('tx_power_limit_dbm') as over_db
from station_now
where tx_power_dbm > limit_of('tx_power_limit_dbm')
order by store, subject;
