-- name: firmware-off-standard
-- title: A station does not run the standard firmware
-- severity: watch
-- why: Mixed firmware makes stations of one store behave differently, and faults hard to compare.
-- do: Bring the station to the standard firmware in its change window, or record an exception for
--   a trial. Checked only where the rules file names a standard.
-- source: The rules file, firmware.standard.
select s.store, s.station as subject,
    format('Runs firmware {} instead of {}.', coalesce(s.firmware, 'of unknown version'), x.value)
        as detail,
    s.firmware
from station_now s, setting_text x
where x.name = 'firmware_standard' and s.firmware is distinct from x.value
order by s.store, subject;
