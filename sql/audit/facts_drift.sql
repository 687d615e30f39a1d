-- All that the audit says of the quarters up to $quarter, in a fixed order.
select * from drift where quarter <= $quarter order by all;
