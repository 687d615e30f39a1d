-- What the schedule of a store could not take into account, as a sentence.
create table if not exists schedule_remark (store varchar not null, remark varchar not null);
