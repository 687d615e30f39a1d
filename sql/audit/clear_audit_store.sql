-- Forget what was worked out for the quarters up to $quarter.
delete from audit_store where quarter <= $quarter;
