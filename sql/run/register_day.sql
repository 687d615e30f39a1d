-- The day up to which this run knows what became of changes.
select day from register_day;
