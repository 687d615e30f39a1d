-- name: port-off-standard
-- title: A station's port differs from the standard
-- severity: watch
-- why: Firewalls and monitoring are set for one port. A station on another works until somebody
--   tidies the firewall, and is missed by whatever watches the standard port.
-- do: Set the standard port {standard_port} at the station (0 in the rules file: not checked).
-- source: The rules file, limits.standard_port.
select s.store, s.station as subject,
    format('Port {} instead of {:.0f}.', s.port, x.value) as detail,
    s.port
from station_now s, setting x
where x.name = 'standard_port' and x.value <> 0 and s.port <> x.value
order by s.store, subject;
