-- Keep what the schedule could not take into account.
insert into schedule_remark select store, remark from incoming order by store, remark;
