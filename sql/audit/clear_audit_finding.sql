-- Forget what was worked out for the quarters up to $quarter.
delete from audit_finding where quarter <= $quarter;
