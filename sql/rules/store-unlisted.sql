-- name: store-unlisted
-- title: Store missing from the inventory
-- title.de: Filiale fehlt im Bestand
-- severity: fix
-- says: Store {named} is named by {sources} ({rows:# row|# rows}) but by no stores or stations
--   export.{likely:case null=|else= Is it {likely}?}
-- says.de: Die Filiale {named} ist genannt in {sources:each {item:case scans=Messungen|
--   labels=Etiketten|levels=Pegeln|else=WLAN}} ({rows:# Zeile|# Zeilen}), aber in keinem
--   Filial- oder Stationsexport.{likely:case null=|else= Ist es {likely}?}
-- why: What was measured or labelled under this name reaches no plan.
-- do: Add the store to the stations export, or correct how it is written in the other exports.
-- source: common practice, no published source
select '*' as store, store as subject, store as named, sources, rows, likely
from unlisted_store
order by store, subject;
