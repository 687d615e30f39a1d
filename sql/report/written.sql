-- What stands in each folder as last written.
select folder, fingerprint, files from report_written order by folder;
