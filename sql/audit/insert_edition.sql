-- Note a new edition of a quarter's audit.
insert into audit_edition values ($quarter, $edition, $facts, $as_of);
