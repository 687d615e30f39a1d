-- Let the view have its name back.
drop table if exists temp.main.survey_moment;
