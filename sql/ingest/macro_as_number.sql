-- A number; null when the cell is none. Not a number and infinity pass: every use has a range.
create or replace temp macro as_number(written, comma) as
    try_cast(point_form(written, comma) as double);
