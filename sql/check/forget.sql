-- Forget what an earlier pass of this very run found.
delete from finding where run = (select run from this_run);
