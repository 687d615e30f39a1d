-- Whether any label of the file stands in it twice for one day, or is in the database for that
-- day already: then rows must be compared whole; else every row is new.
select exists (select 1 from cleaned where good group by store, label, seen_on having count(*) > 1)
    or exists (
        from (from label_seen where seen_on in (select distinct seen_on from cleaned where good)) e
        semi join (from cleaned where good) c
        on e.store = c.store and e.label = c.label and e.seen_on = c.seen_on
    );
