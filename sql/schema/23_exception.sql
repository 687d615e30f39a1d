-- Approved departures from the rules, from the rules file. '*' matches any store or subject.
create table if not exists exception (
    rule        varchar not null,
    store       varchar not null,
    subject     varchar not null,
    reason      varchar not null,
    approved_by varchar not null,
    until       date not null
);
