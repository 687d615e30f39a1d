-- name: store-off-type-standard
-- title: Store differs from others of its type
-- title.de: Filiale weicht von anderen ihres Typs ab
-- severity: watch
-- says: Its {field} is {value}; {agreeing} of {stores:# store|# stores} of type '{store_type}' have
--   {standard}.
-- says.de: {field:case firmware=Firmware|hardware=Hardware|port=Port|power=Sendeleistung}: {value};
--   {agreeing} von {stores:# Filiale|# Filialen} des Typs „{store_type}“ haben {standard}.
-- why: At least {type_standard_share:%} of the stores of a type (of {type_standard_stores} or more)
--   agree on firmware, hardware, port or power. One that differs was set up differently, or left
--   out.
-- do: Bring the store in line in a change window, or record why it differs as an exception.
-- source: common practice, no published source
with fact as (
    select t.store_type, s.store, s.firmware, s.hardware, s.port::varchar as port,
        format('{:.1f} dBm', s.tx_power_dbm) as power
    from station_now s join store_now t using (store) where t.store_type is not null
), counted_fact as (
    select store_type, store, field, value, count(*) as stations
    from (unpivot fact on firmware, hardware, port, power into name field value value)
    group by store_type, store, field, value
), of_store as (   -- what most stations of a store have; of equals the last in order
    select store_type, store, field, max_by(value, (stations, value)) as value
    from counted_fact group by store_type, store, field
), standard as (
    select store_type, field, value, count(*) as agreeing,
        (sum(count(*)) over (partition by store_type, field))::bigint as stores
    from of_store group by store_type, field, value
)
select o.store, o.field as subject, o.field, o.value, s.value as standard, s.agreeing, s.stores,
    o.store_type
from of_store o join standard s using (store_type, field)
where s.stores >= limit_of('type_standard_stores')
    and s.agreeing >= s.stores * limit_of('type_standard_share') and o.value <> s.value
order by o.store, subject;
