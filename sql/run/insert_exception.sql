-- Keep the exceptions on file.
insert into exception select rule, store, subject, reason, approved_by, until from incoming
order by all;
