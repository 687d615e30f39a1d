-- A moment, with its time of day: UTC where the cell states an offset, else as the clock showed.
create or replace temp macro as_moment(written, day_order) as
    case
        when length(written) < 12 or not contains(written, ':') then null
        when has_offset(written) then
            make_timestamp(epoch_us(try_cast(as_iso(written, day_order) as timestamptz)))
        when not regexp_matches(substr(written, 12), '[a-zA-Z]')
            then try_cast(as_iso(written, day_order) as timestamp)
    end;
