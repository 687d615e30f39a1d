-- Forget what a run of the same day, or of a later one, put in waves.
delete from wave_taken where taken_on >= (select as_of from this_run);
