-- name: firmware-off-standard
-- title: Firmware differs from the standard
-- title.de: Firmware weicht vom Standard ab
-- severity: watch
-- says: Runs firmware {firmware:case null=of unknown version|else={firmware}} instead of
--   {standard}.
-- says.de: Läuft mit {firmware:case null=Firmware unbekannter Version|else=Firmware {firmware}}
--   statt {standard}.
-- why: Mixed firmware makes stations of one store behave differently, and faults hard to compare.
-- do: Bring the station to the standard firmware in its change window, or record an exception for
--   a trial. Checked only where the rules file names a standard.
-- source: The rules file, firmware.standard.
select store, station as subject, firmware, text_of('firmware_standard') as standard
from station_now
where firmware is distinct from text_of('firmware_standard')
    and text_of('firmware_standard') is not null
order by store, subject;
