-- A list of channels as '11 15 20 25', ascending; null when the cell is no list of numbers.
create or replace temp macro as_channels(written) as
    case when regexp_full_match(written, '\d{1,2}([ ,;/|+]+\d{1,2})*')
        then array_to_string(list_transform(list_sort(list_distinct(list_transform(
            regexp_extract_all(written, '\d+'), lambda c: try_cast(c as integer)))),
            lambda c: cast(c as varchar)), ' ') end;
