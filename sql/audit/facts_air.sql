-- All that the audit says of the quarters up to $quarter, in a fixed order.
select * from audit_air where quarter <= $quarter order by all;
