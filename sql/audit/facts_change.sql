-- All that the audit says of the quarters up to $quarter, in a fixed order.
select * from audit_change where quarter <= $quarter order by all;
