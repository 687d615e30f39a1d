-- Changes as proposed: facts that never change. What became of them is in change_event.
create table if not exists change (
    change           varchar not null primary key,
    plan             varchar not null,
    store            varchar not null,
    station          varchar not null,
    from_channel     integer not null,
    to_channel       integer not null,
    position         integer not null,   -- 1 is the first of the plan
    parking          boolean not null,   -- a step on the way, not the final channel
    clear_air_before double not null,    -- of this station, before the whole plan, 0..1
    clear_air_after  double not null,    -- promised once the whole plan is done, 0..1
    labels           bigint not null,    -- labels the station served then, silent ones left out
    sureness         varchar not null,   -- of the evidence: 'high', 'fair' or 'low'
    proposed_by      varchar not null,
    proposed_on      date not null
);
