-- Forget what was worked out for the quarters up to $quarter.
delete from audit_promise where quarter <= $quarter;
