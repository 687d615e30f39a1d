-- The distinct payload sizes of today's labels, in whole octets, so that air time is computed once each.
select distinct cast(ceil(coalesce(payload_octets, s.value)) as bigint) as payload_octets
from label_now, setting s
where s.name = 'default_payload_octets'
order by payload_octets;
