-- Take the rows of stuck radios out of the good ones: they have no problem of their own. (A list
-- is not set here: that would move the rows, and their place is their line.)
update cleaned set good = false
from scan s
where s.channels >= 8 and s.lowest_dbm = s.highest_dbm and s.lowest_dbm >= $cca_dbm
    and cleaned.good and cleaned.store = s.store and cleaned.station = s.station
    and cleaned.scanned_at = s.scanned_at and cleaned.clock = s.clock;
