-- A PAN ID, 0..65535: hex after 0x; four hex digits with a letter; hex also without a letter when
-- the file's column is one of hex digits (`all_hex`); else decimal.
create or replace temp macro as_pan_id(written, all_hex) as
    case
        when regexp_full_match(written, '0[xX][0-9a-fA-F]{1,4}') then try_cast(written as integer)
        when regexp_full_match(written, '[0-9a-fA-F]{4}')
            and (all_hex or regexp_matches(written, '[a-fA-F]'))
            then try_cast('0x' || written as integer)
        when regexp_full_match(written, '\d{1,5}') and try_cast(written as integer) <= 65535
            then try_cast(written as integer)
    end;
