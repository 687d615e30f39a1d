-- The editions of each quarter's audit. A later one restates the quarter, because facts that speak
-- of it came after it was audited; the number says which. Rows are only added.
create table if not exists audit_edition (
    quarter varchar not null,
    edition bigint not null,   -- 1 is the first
    facts   varchar not null,  -- fingerprint of all that the audit says
    as_of   date not null      -- day of the run that made it
);
