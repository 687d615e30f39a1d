-- The distinct payload sizes of labels, in whole octets, so that air time is computed once each.
select distinct cast(ceil(coalesce(l.payload_octets, s.value)) as bigint) as payload_octets
from (select distinct payload_octets from label_seen) l, setting s
where s.name = 'default_payload_octets'
order by payload_octets;
