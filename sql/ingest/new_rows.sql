-- Rows of the file with at least one reading that was new.
select count(distinct n) from numbered where k > held;
