-- Put the file's bad rows into quarantine: what is wrong with each cell, what to do, the original
-- cells. Beyond $most rows of one problem, the rest stand as one entry.
insert into quarantined_row
with judged as (
    select c.rowid as n, c.store, coalesce(c.line_number, $first_line + c.rowid) as line, b.cells,
        coalesce(c.problems, [wrong('radio-stuck', 'level',
            json_extract_string(b.cells, '$.level'))]) as problems
    from cleaned c join bad_text b on b.n = c.rowid
    where not c.good
), bad as (
    select *, row_number() over (partition by problems[1].problem order by n) as nth,
        count(*) over (partition by problems[1].problem) as of_these
    from judged
), kept as (
    select *, if(nth > $most, of_these - $most, 1) as rows from bad where nth <= $most + 1
), worded as (
    select p.n, p.problem, replace(replace(s.reason, '{heading}', coalesce(h.heading, p.field)),
            '{cell}', p.cell) as reason, s.advice, p.place
    from (select n, unnest(problems, recursive := true),
        generate_subscripts(problems, 1) as place from kept) p
    join problem_sentence s on s.problem = p.problem
    left join (select field, min(heading) as heading from field_heading group by field) h
        on h.field = p.field
), sentences as (
    select n, string_agg(reason, ' ' order by place) as reason,
        string_agg(advice, ' ' order by place) as advice
    from worded group by n
), texts as (
    select k.n, cast(to_json(map_from_entries(list({'k': h.heading, 'v': coalesce(
        json_extract_string(k.cells, '$."' || h.field || '"'), '')} order by h.position)))
        as varchar) as cells
    from kept k cross join field_heading h
    where h.field <> 'more' or json_extract_string(k.cells, '$.more') is not null
    group by k.n
)
select $file, $sha256, k.store, k.line, k.rows, k.problems[1].problem,
    s.reason || if(k.rows > 1, ' So are ' || (k.rows - 1) || ' more rows of this file.', ''),
    s.advice, t.cells
from kept k join sentences s on s.n = k.n join texts t on t.n = k.n
order by k.line;
