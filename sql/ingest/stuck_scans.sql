-- How many scans of the file come from a stuck radio: one value at or above the clear-channel
-- threshold on all of at least 8 channels.
select count(*) from scan
where channels >= 8 and lowest_dbm = highest_dbm and lowest_dbm >= $cca_dbm;
