-- A number's digits with a decimal point and nothing between thousands, from the file's one
-- notation; null where marks stand as in no number. Thousands are taken in whole groups of three.
-- The plain forms come first, because they are many and cheap.
create or replace temp macro point_form(written, comma) as
    case
        when comma and not contains(written, '.') and not contains(written, ' ')
            and strlen(written) = length(written) then replace(written, ',', '.')
        when not comma and not contains(written, ',') and not contains(written, ' ')
            and strlen(written) = length(written) then written
        when comma and regexp_full_match(written,
            '\s*[-+−]?(\d{1,3}([. \x{00A0}\x{202F}]\d{3})+|\d+)(,\d*)?\s*')
            then replace(replace(regexp_replace(written, '[. \x{00A0}\x{202F}]', '', 'g'),
                ',', '.'), '−', '-')
        when not comma and regexp_full_match(written,
            '\s*[-+−]?(\d{1,3}([, \x{00A0}\x{202F}]\d{3})+|\d+)(\.\d*)?\s*')
            then replace(regexp_replace(written, '[, \x{00A0}\x{202F}]', '', 'g'), '−', '-')
    end;
