-- A floor: 0 is the ground floor, also by its usual names.
create or replace temp macro as_floor(written, comma) as
    case
        when lower(written) in ('eg', 'ground', 'ground floor', 'g', 'erdgeschoss', 'parter') then 0
        when regexp_full_match(lower(written), '\d{1,2}\. ?og')
            then try_cast(regexp_extract(written, '\d+') as integer)
        when regexp_full_match(lower(written), '\d{1,2}\. ?ug')
            then -try_cast(regexp_extract(written, '\d+') as integer)
        else as_whole(written, comma)
    end;
