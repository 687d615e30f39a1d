-- Channels the rules permit, per store of this run.
create table if not exists permitted_channel (store varchar not null, channel integer not null);
