-- Rows of the file, and the good ones among them.
select count(*), count(*) filter (good) from cleaned;
