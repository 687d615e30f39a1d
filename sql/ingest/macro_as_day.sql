-- A day; null when the cell is none. Years outside 1990..2199 are slips of the pen, not days.
-- The plain form comes first, because it is common and cheap.
create or replace temp macro as_day(written, day_order) as
    case
        when written like '20__-__-__' then try_cast(written as date)
        when try_cast(as_iso(replace(written, '/', '-'), day_order) as date)
            between date '1990-01-01' and date '2199-12-31'
            then try_cast(as_iso(replace(written, '/', '-'), day_order) as date)
        when day_order = 'iso' and regexp_full_match(written, '(19|20|21)\d{6}')
            then cast(try_strptime(written, '%Y%m%d') as date)
        when regexp_full_match(written, '\d{4}\.\d{1,2}\.\d{1,2}')
            then try_cast(replace(written, '.', '-') as date)
    end;
