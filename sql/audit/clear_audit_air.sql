-- Forget what was worked out for the quarters up to $quarter.
delete from audit_air where quarter <= $quarter;
