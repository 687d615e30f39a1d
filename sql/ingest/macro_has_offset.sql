-- Whether a time stamp says how far it is from UTC: Z, +02:00 or -05:00 after the time of day.
create or replace temp macro has_offset(written) as
    case
        when written like '____-__-_____:__:__' then false
        when written is null then false
        else contains(substr(written, 12), '+') or contains(substr(written, 12), '-')
            or contains(substr(written, 12), 'Z') or contains(substr(written, 12), 'z')
    end;
