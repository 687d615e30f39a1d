-- Empty the table: it holds the current schedule only.
delete from schedule_remark;
