-- name: quarantine
-- Put the file's bad rows into quarantine: what is wrong with each cell, what to do, the original
-- cells. Beyond $most rows of one problem, one entry stands for all the rest.
insert into quarantined_row by name
with judged as (
    select c.rowid as n, c.store, coalesce(c.line_number, $first_line + c.rowid) as line, b.cells,
        -- Nothing in the row itself holds it: it is of a stuck radio.
        if(coalesce(len(list_filter(c.problems,
                lambda p: p.problem not in ('dwell-impossible', 'yes-no-unreadable'))), 0) = 0,
            list_concat([wrong('radio-stuck', 'level', json_extract_string(b.cells, '$.level'))],
                c.problems), c.problems) as problems
    from cleaned c join bad_text b on b.n = c.rowid
    where not c.good
), bad as (
    select *, row_number() over (partition by problems[1].problem order by n) as nth,
        count(*) over (partition by problems[1].problem) as of_these
    from judged
), kept as (
    select *, if(nth > $most, of_these - $most, 1) as rows from bad where nth <= $most + 1
), faulty as (
    select p.n, p.place, p.problem, coalesce(h.heading, p.field) as heading,
        left(p.cell, 120) as cell
    from (select n, unnest(problems, recursive := true),
        generate_subscripts(problems, 1) as place from kept) p
    left join (select field, min(heading) as heading from field_heading group by field) h
        on h.field = p.field
), worded as (
    select f.n, f.place, s.advice,
        replace(replace(s.reason, '{heading}', f.heading), '{cell}', f.cell) as reason,
        {'problem': f.problem, 'heading': f.heading, 'cell': f.cell} as fault
    from faulty f join problem_sentence s on s.problem = f.problem
), sentences as (
    select n, string_agg(reason, ' ' order by place) as reason,
        string_agg(advice, ' ' order by place) as advice,
        cast(to_json(list(fault order by place)) as varchar) as faults
    from worded group by n
), texts as (
    select k.n, cast(to_json(map_from_entries(list({'k': h.heading, 'v': coalesce(
        json_extract_string(k.cells, '$."' || h.field || '"'), '')} order by h.position)))
        as varchar) as cells
    from kept k cross join field_heading h
    where h.field <> 'more' or json_extract_string(k.cells, '$.more') is not null
    group by k.n
)
select $file as file, $sha256 as sha256, k.store, k.line, k.rows, k.problems[1].problem as problem,
    s.reason || if(k.rows > 1, ' So are ' || (k.rows - 1) || ' more rows of this file.', '')
        as reason,
    s.advice, t.cells as text, s.faults
from kept k join sentences s on s.n = k.n join texts t on t.n = k.n
order by k.line;

-- name: quarantine_cells
-- Put the cells of good rows that could not be read into quarantine; their rows stand without them.
-- Beyond $most cells of one problem in a column, one entry stands for all the rest.
insert into quarantined_cell by name
with unread as (
    select n, store, line, unnest(problems, recursive := true)
    from (select rowid as n, *, coalesce(line_number, $first_line + rowid) as line
        from cleaned where good and problems is not null)
), counted as (
    select *, row_number() over (partition by field, problem order by n) as nth,
        count(*) over (partition by field, problem) as of_these
    from unread
)
select $file as file, $sha256 as sha256, c.store, c.line, c.field,
    coalesce(h.heading, c.field) as heading, c.problem,
    replace(replace(s.reason, '{heading}', coalesce(h.heading, c.field)), '{cell}', left(c.cell, 120))
        as reason, s.advice, c.cell as text, if(nth > $most, of_these - $most, 1) as cells
from counted c
join problem_sentence s on s.problem = c.problem
left join (select field, min(heading) as heading from field_heading group by field) h
    on h.field = c.field
where nth <= $most + 1
order by c.line, c.n, h.heading;

-- name: forget_refused_rows
-- Delete the entries of a refused file: it is tried again, or other content replaces it.
delete from quarantined_row q using export_file e
where e.file = $file and e.refused is not null and q.file = e.file and q.sha256 = e.sha256;

-- name: note_mended
-- Remember which quarantined rows the table brings back, so that the order in which files come
-- makes no difference.
insert into mended_row by name
select * from (
    select distinct filled(from_file) as file, filled(from_content) as sha256,
        try_cast(from_line as bigint) as line
    from staged
) anti join mended_row using (file, sha256, line)
where file is not null and sha256 is not null and line is not null;

-- name: count_mended
-- Rows that came back mended count as repeated in their first file: another file holds them now.
-- Entries that stand for several rows, or for a whole file, stay.
update export_file set rows_quarantined = export_file.rows_quarantined - mended.rows,
    rows_repeated = export_file.rows_repeated + mended.rows
from (
    select file, sha256, count(*) as rows
    from quarantined_row semi join mended_row using (file, sha256, line)
    where rows = 1 and problem <> 'file-refused'
    group by all
) mended
where mended.file = export_file.file and mended.sha256 = export_file.sha256;

-- name: release_mended
-- Delete the entries of rows that came back mended.
delete from quarantined_row using mended_row m
where quarantined_row.file = m.file and quarantined_row.sha256 = m.sha256
    and quarantined_row.line = m.line and quarantined_row.rows = 1
    and quarantined_row.problem <> 'file-refused';
