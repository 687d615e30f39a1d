-- What stands in these folders now.
insert into report_written
select folder, store, fingerprint, files from incoming order by folder;
