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
