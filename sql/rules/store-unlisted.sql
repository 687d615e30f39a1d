-- name: store-unlisted
-- title: Stores missing from the inventory
-- title.de: Filialen fehlen im Bestand
-- severity: fix
-- says: {stores:# store|# stores} named by {sources} ({rows:# row|# rows}) but by no stores or
--   stations export; {cause:case ambiguous=each may be more than one listed store|else=they match
--   no listed one}: {named:each {key}{likely:case null=|else= (is it {likely}?)}}.
-- says.de: {stores:# Filiale|# Filialen}, genannt in {sources:each {item:case scans=Scans|
--   labels=Schilderlisten|levels=Pegeln|else=WLAN}} ({rows:# Zeile|# Zeilen}), aber in keinem
--   Filial- oder Stationsexport; {cause:case ambiguous=jede kann mehr als eine genannte sein|
--   else=sie entsprechen keiner}: {named:each {key}{likely:case null=|else= (ist es {likely}?)}}.
-- why: What was measured or labelled under these names reaches no plan.
-- do: Add them to the stations export, or correct how they are written in the other exports; the
--   quarantine workbook lists them all.
-- source: common practice, no published source
select '*' as store, cause as subject, cause, stores, sources, rows, named
from unlisted_store
order by store, subject;
