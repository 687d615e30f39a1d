-- name: stores
-- Every store of today with its region, in the order its reports are written.
select store, name, region from store_now order by store;

-- name: written
-- The files of each folder, as last written.
select folder, store, fingerprint, files from report_written order by folder;

-- name: forget_written
-- Forget folders that are written anew.
delete from report_written where folder in (select folder from incoming);

-- name: rule_texts
-- What the rules of the last check are called and say, by language.
select rule, language, title, says, remedy from rule_text order by rule, language;

-- name: originals
-- The decisions and results of a change that came in a workbook, with its octets as they came.
select e.state, e."by", e."at"::date as "at", e.workbook as file, k.sha256, e.cell, e.by_written,
    e.at_written, k.octets
from change_event e join file_kept k on k.sha256 = e.workbook_sha256
where e.change = $change order by e.seq;
