-- name: change_turn
-- When each change that was carried out was made: the evening of its night, unless somebody reported
-- it for a later day than the morning after; else the day it was reported, or first found.
create or replace view change_turn as
select store, station, ordered_channel, least(coalesce(night, done_on), done_on) as begun_on,
    if(night < done_on and (done_by = 'quietaisle' or done_on <= night + 1), night, done_on)
        as done_on
from change_story where not parking and done_on is not null;
