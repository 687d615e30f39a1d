-- Work the view out once for all rules: the table has its name until it is let go.
create temp table survey_moment as select * from survey_moment;
