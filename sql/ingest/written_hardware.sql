-- Hardware addresses as the file writes them.
select distinct eui64 from cleaned where good and eui64 is not null order by eui64;
