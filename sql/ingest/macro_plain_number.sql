-- A number in the file's one notation: decimal point, or decimal comma when `comma`.
-- Grouped thousands are taken only in whole groups of three; NaN and infinity are not numbers.
create or replace temp macro plain_number(written, comma) as
    case
        when comma and not contains(written, '.')
            then try_cast(replace(written, ',', '.') as double)
        when comma and regexp_full_match(written, '[-+]?\d{1,3}(\.\d{3})+(,\d*)?')
            then try_cast(replace(replace(written, '.', ''), ',', '.') as double)
        when not comma and not contains(written, ',')
            then try_cast(written as double)
        when not comma and regexp_full_match(written, '[-+]?\d{1,3}(,\d{3})+(\.\d*)?')
            then try_cast(replace(written, ',', '') as double)
    end;
