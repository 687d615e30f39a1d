-- All that the audit says of the quarters up to $quarter, in a fixed order.
select * from audit_promise where quarter <= $quarter order by all;
