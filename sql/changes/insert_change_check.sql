-- Keep the facts behind events of this run.
insert into change_check
select seq, change, (select as_of from this_run), seen_on, channel_found, connected, labels_before,
    labels_after, clear_air_before, promised, measured, readings, sureness
from incoming order by seq;
