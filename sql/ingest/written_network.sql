-- Network addresses as the file writes them.
select distinct ip_address from cleaned where good and ip_address is not null order by ip_address;
