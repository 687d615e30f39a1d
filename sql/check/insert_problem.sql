-- Keep which rules could not be used, under the run's name.
insert into rule_problem
select r.run, i.file, i.line, i.sentence
from incoming i, this_run r
order by i.file, i.line, i.sentence;
