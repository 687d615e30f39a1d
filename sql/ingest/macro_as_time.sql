-- A time of day; null when the cell is none. 24:00 is the last moment of the day.
create or replace temp macro as_time(written) as
    case
        when regexp_full_match(written, '24[:.]00([:.]00)?') then time '23:59:59'
        when regexp_full_match(written, '\d{1,2}[:.]\d{2}([:.]\d{2}(\.\d+)?)?')
            then try_cast(replace(written, '.', ':') as time)
    end;
