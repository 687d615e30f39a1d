-- A whole number; null when the cell is none, also when it has a fraction.
create or replace temp macro as_whole(written, comma) as
    try_cast(case when regexp_full_match(point_form(written, comma), '\s*[-+]?\d{1,9}(\.0*)?\s*')
        then point_form(written, comma) end as integer);
