-- name: inventory-open
-- title: What is there and what is listed differ
-- title.de: Vorhanden ist etwas anderes als gelistet
-- severity: fix
-- says: {items:# entry|# entries} of the sheet Inventory without an answer: {named:each {subject}
--   ({what:case network=in the network list alone|unseen=nothing but the station list names it|
--   renamed=new on the list|changed=other hardware than before|else=hardware address listed
--   twice}{likely:case null=|else=; is it {likely}?})}.
-- says.de: {items:# Eintrag|# Einträge} auf dem Blatt Bestand ohne Antwort: {named:each {subject}
--   ({what:case network=nur in der Netzliste|unseen=nur die Stationsliste nennt sie|renamed=neu auf
--   der Liste|changed=andere Hardware als vorher|else=Hardwareadresse doppelt
--   genannt}{likely:case null=|else=; ist es {likely}?})}.
-- why: A station that nobody listed disturbs the others unseen, one that is listed and gone is
--   planned in vain, and one taken for another brings its scans, labels and changes to the wrong
--   place. Nothing but an answer tells which.
-- do: Fill in the sheet Inventory of the store's workbook and send it back; the next run goes by
--   it.
-- source: common practice, no published source
select store, 'inventory' as subject, count(*) as items,
    list({'subject': subject, 'what': what, 'likely': likely} order by item) as named
from inventory_item
where open and what <> 'unlisted'
group by store
order by store, subject;
