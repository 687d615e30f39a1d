-- The named problems with their sentences.
create or replace temp table problem_sentence as
select * from incoming;
