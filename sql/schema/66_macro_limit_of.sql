-- A limit of the rules file by name; a name that it does not have is an error, never null.
create or replace macro limit_of(wanted) as
coalesce((select value from setting where name = wanted),
    error('There is no limit named ''' || wanted || '''.'));
