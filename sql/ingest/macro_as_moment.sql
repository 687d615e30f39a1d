-- A moment, with its time of day: UTC where the cell states an offset, else as the clock showed.
-- The two plain forms come first, because they are many and cheap.
create or replace temp macro as_moment(written, day_order) as
    case
        when written like '____-__-_____:__:__' then try_cast(written as timestamp)
        when day_order = 'dmy' and written like '__.__.____ __:__:__' then try_cast(
            substr(written, 7, 4) || '-' || substr(written, 4, 2) || '-' || substr(written, 1, 2)
            || substr(written, 11) as timestamp)
        when length(written) < 12 or not contains(written, ':') then null
        when has_offset(written) then
            make_timestamp(epoch_us(try_cast(as_iso(written, day_order) as timestamptz)))
        when not regexp_matches(substr(written, 12), '[a-zA-Z]')
            then try_cast(as_iso(written, day_order) as timestamp)
    end;
