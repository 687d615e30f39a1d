-- These folders are written anew.
delete from report_written where folder in (select folder from incoming);
