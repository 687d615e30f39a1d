-- A date or time stamp with its day put year first, in the file's one order of day and month.
create or replace temp macro as_iso(written, day_order) as
    case
        when day_order = 'iso' then written
        when regexp_matches(written, '^\d{4}') then written
        when day_order = 'dmy' then regexp_replace(regexp_replace(written,
            '^(\d{1,2})[./-](\d{1,2})[./-](\d\d)(\D|$)', '20\3-\2-\1\4'),
            '^(\d{1,2})[./-](\d{1,2})[./-](\d{4})', '\3-\2-\1')
        else regexp_replace(regexp_replace(written,
            '^(\d{1,2})[./-](\d{1,2})[./-](\d\d)(\D|$)', '20\3-\1-\2\4'),
            '^(\d{1,2})[./-](\d{1,2})[./-](\d{4})', '\3-\1-\2')
    end;
