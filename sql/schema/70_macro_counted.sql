-- '1 station', '2 stations'.
create or replace macro counted(n, noun) as
n || ' ' || noun || case when n = 1 then '' else 's' end;
