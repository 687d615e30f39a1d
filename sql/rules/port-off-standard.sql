-- name: port-off-standard
-- title: Port differs from the standard
-- title.de: Port weicht vom Standard ab
-- severity: watch
-- says: Port {port} instead of {standard:.0f}.
-- says.de: Port {port} statt {standard:.0f}.
-- why: Firewalls and monitoring are set for one port. A station on another works until somebody
--   tidies the firewall, and is missed by whatever watches the standard port.
-- do: Set the standard port {standard_port} at the station (0 in the rules file: not checked).
-- source: The rules file, limits.standard_port.
select store, station as subject, port, limit_of('standard_port') as standard
from station_now
where limit_of('standard_port') <> 0 and port <> limit_of('standard_port')
order by store, subject;
