-- Forget what was worked out for the quarters up to $quarter.
delete from drift where quarter <= $quarter;
