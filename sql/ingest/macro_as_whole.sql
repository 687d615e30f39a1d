-- A whole number; null when the cell is none, also when it has a fraction.
create or replace temp macro as_whole(written, comma) as
    case
        when regexp_full_match(written, '\s*[-+]?\d{1,9}\s*') then try_cast(written as integer)
        when as_number(written, comma) = floor(as_number(written, comma))
            then try_cast(as_number(written, comma) as integer)
    end;
