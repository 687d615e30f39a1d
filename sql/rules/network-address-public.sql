-- name: network-address-public
-- title: Network address is not a private one
-- title.de: Netzwerkadresse ist keine private
-- severity: watch
-- says: {is_address:case true=Network address {address} is outside the private
--   ranges|false='{address}' is not a network address}.
-- says.de: {is_address:case true=Die Netzwerkadresse {address} liegt außerhalb der privaten
--   Bereiche|false=„{address}“ ist keine Netzwerkadresse}.
-- why: Stations belong on the store's inner network. An address outside the private ranges is
--   reachable from outside, is a typing mistake, or is no address at all.
-- do: Correct the address, or have whoever runs the network confirm that it cannot be reached.
-- source: RFC 1918, RFC 3927, RFC 4193, RFC 4291, RFC 6598
with parsed as (
    select store, station, lower(ip_address) as address,
        regexp_full_match(ip_address, '\d{1,3}(\.\d{1,3}){3}')
            and list_max(try_cast(string_split(ip_address, '.') as integer[])) <= 255 as is_v4
    from (select * from station_now where ip_address is not null)
)
select store, station as subject, address,
    coalesce(is_v4, false) or regexp_full_match(address, '[0-9a-f:]*:[0-9a-f:.]*') as is_address
from parsed
where not (is_v4 and regexp_matches(address, '^(10|192\.168|169\.254'
        '|172\.(1[6-9]|2\d|3[01])|100\.(6[4-9]|[7-9]\d|1[01]\d|12[0-7]))\.')
    or regexp_full_match(address, '(f[cd][0-9a-f]{2}|fe[89ab][0-9a-f]):[0-9a-f:.]*'))
order by store, subject;
