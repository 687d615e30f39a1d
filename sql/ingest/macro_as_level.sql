-- A level in dBm from a number in one of the three units; null where the unit cannot carry it.
create or replace temp macro as_level(number, unit, zero_dbm, db_per_step) as
    case unit
        when 'dbm' then number
        when '-dbm' then -number
        when 'raw' then case when number between 0 and 255
            then round(zero_dbm + number * db_per_step, 6) end
    end;
