-- Whether any scan of the file has a channel twice, or is in the database already: then equal
-- readings must be counted against one another; else every row is new.
select exists (from scan where readings > channels)
    or exists (
        from ed_reading e semi join scan s
        on e.store = s.store and e.station = s.station and e.scanned_at = s.scanned_at
            and e.clock = s.clock
    );
