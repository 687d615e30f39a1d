-- A number, also with a typographic minus or blanks between thousands; null when it is none.
create or replace temp macro as_number(written, comma) as
    nullif(nullif(nullif(coalesce(
        plain_number(written, comma),
        plain_number(regexp_replace(replace(written, '−', '-'), '(\d)[ \x{00A0}\x{202F}](\d{3})',
            '\1\2', 'g'), comma)
    ), 'nan'), 'infinity'), '-infinity');
