-- The quarters audited, in order.
select distinct quarter from audit_store order by quarter;
