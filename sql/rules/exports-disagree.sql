-- name: exports-disagree
-- title: Exports of the same day disagree
-- title.de: Exporte desselben Tages widersprechen sich
-- severity: fix
-- says: Exports of {seen_on:day} disagree on {fields:each {field} ({given:or})}.
-- says.de: Die Exporte vom {seen_on:day} widersprechen sich: {fields:each {field:case
--   name=Name|mounted=Montage|hardware=Hardware|firmware=Firmware|eui64=Hardwareadresse|
--   ip_address=Netzwerkadresse|floor=Ebene|x=x|y=y|channel=Kanal|PAN ID=PAN-ID|port=Port|
--   power=Sendeleistung|connected=Verbindung|status=Status|region=Region|country=Land|type=Typ|
--   time zone=Zeitzone|opens=öffnet|closes=schließt} ({given:or})}.
-- why: Two exports of the same day say different things about the same station or store. One has to
--   be chosen (the smaller value is); it may be the wrong one.
-- do: Find out which is right and remove or correct the other file.
-- source: common practice, no published source
with told as (
    unpivot (
        select s.store, station as subject, s.seen_on, name, mounted, hardware, firmware, eui64,
            ip_address, floor::varchar as floor, x_m::varchar as x, y_m::varchar as y,
            channel::varchar as channel, pan_id::varchar as "PAN ID", port::varchar as port,
            tx_power_dbm::varchar as power, connected::varchar as connected, status
        from station_seen s join told_twice w
            on w.store = s.store and w.subject = s.station and w.seen_on = s.seen_on
    ) on columns(* exclude (store, subject, seen_on)) into name field value value
    union all
    unpivot (
        select s.store, 'store' as subject, s.seen_on, name, region, country, store_type as "type",
            time_zone as "time zone", opens::varchar as opens, closes::varchar as closes
        from store_matched s join told_twice w
            on w.store = s.store and w.subject = 'store' and w.seen_on = s.seen_on
    ) on columns(* exclude (store, subject, seen_on)) into name field value value
), split as (
    select store, subject, seen_on, field, list(distinct value).list_sort() as given
    from told group by store, subject, seen_on, field having count(distinct value) > 1
)
select store, subject, seen_on, list({'field': field, 'given': given} order by field) as fields
from split
group by store, subject, seen_on
order by store, subject;
