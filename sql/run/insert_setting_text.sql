-- Keep the texts of this run.
insert into setting_text select name, value from incoming order by name;
