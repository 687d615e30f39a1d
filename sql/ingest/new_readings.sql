-- Readings of the file beyond those the database holds.
select coalesce(sum(readings - held), 0) from folded;
