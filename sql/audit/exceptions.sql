-- Exceptions as runs up to $last met them on file or off it, in that order.
select store, rule, subject, reason, approved_by, until, as_of, on_file, first_run
from exception_file
where as_of <= $last
order by store, rule, subject, until, reason, approved_by, rowid;
