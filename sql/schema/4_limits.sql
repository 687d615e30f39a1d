-- name: limit_of
-- A limit of the rules file by name; a name that it does not have is an error, never null.
create or replace macro limit_of(wanted) as
coalesce((select value from setting where name = wanted),
    error('There is no limit named ''' || wanted || '''.'));

-- name: text_of
-- A text of the rules file by name, null where the file leaves it out; any other name is an error.
create or replace macro text_of(wanted) as
if(wanted in ('firmware_standard'), (select value from setting_text where name = wanted),
    error('There is no text named ''' || wanted || '''.'));
