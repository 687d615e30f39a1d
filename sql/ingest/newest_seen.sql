-- The newest snapshot day of the file's good rows.
select max(seen_on) from cleaned where good;
