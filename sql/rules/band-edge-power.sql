-- name: band-edge-power
-- title: Channel 26 may need reduced power
-- title.de: Sendeleistung auf Kanal 26 womöglich zu hoch
-- severity: watch
-- says: Channel 26 at {tx_power_dbm:case null=a power that is not stated|else={tx_power_dbm:.1f}
--   dBm}: {edge:case null=no rule for the band edge is on file for|else=the band above its edge is
--   protected in} {country:case null=an unknown country|else={country}}.
-- says.de: Kanal 26 mit {tx_power_dbm:case null=unbekannter Leistung|else={tx_power_dbm:.1f} dBm}:
--   {edge:case null=zum Bandrand ist keine Vorschrift bekannt|else=das Band darüber ist geschützt}
--   ({country:case null=Land unbekannt|else={country}}).
-- why: Channel 26 is centred 3.5 MHz below the band edge at 2483.5 MHz. Some countries protect the
--   band above, so that a station may use less power there than on any other channel. Reported
--   above {band_edge_power_dbm} dBm, or where no power is stated, unless the country is known to
--   have one limit up to the edge.
-- do: Ask the national regulator, and look up the power on channel 26 in the station's certificate.
--   Reduce the power there or use another channel. This is a caution, not a ruling.
-- source: 47 CFR 15.205 and 15.209 (US); EN 300 328 and Decision 2006/771/EC (Europe).
select s.store, s.station as subject, s.tx_power_dbm, t.country, b.edge
from station_now s
join store_now t on t.store = s.store
left join band_edge_country b on b.country = t.country
where s.channel = 26 and b.edge is distinct from 'even'
    and (s.tx_power_dbm is null or s.tx_power_dbm > limit_of('band_edge_power_dbm'))
order by s.store, subject;
