-- A list of channels as '11 15 20 25', ascending; null when the cell is no list of numbers.
-- A list that is so already comes first, because it is common and cheap.
create or replace temp macro as_channels(written) as
    case
        when regexp_full_match(written || ' ', '(11 )?(12 )?(13 )?(14 )?(15 )?(16 )?(17 )?(18 )?'
            || '(19 )?(20 )?(21 )?(22 )?(23 )?(24 )?(25 )?(26 )?') then written
        when regexp_full_match(written, '\s*\d{1,2}([ ,;/|+]+\d{1,2})*\s*')
            then array_to_string(list_transform(list_sort(list_distinct(list_transform(
                regexp_extract_all(written, '\d+'), lambda c: try_cast(c as integer)))),
                lambda c: cast(c as varchar)), ' ')
    end;
