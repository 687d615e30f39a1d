-- Add events to the register, numbered on in the order given.
insert into change_event
select (select coalesce(max(seq), 0) from change_event) + number, change, state, "at", "by", note,
    result, due
from incoming order by number;
