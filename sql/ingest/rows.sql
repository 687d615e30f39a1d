-- name: tally
-- Rows of the file, the good ones among them, and how many of these hold cells that are not.
select count(*) as rows, count(*) filter (good) as good,
    count(*) filter (good and problems is not null) as partly from cleaned;

-- name: last_total
-- The store of the last row, where that is a word for a total.
select case when is_total(store) then store end as store
from (select row_number() over () as n, filled(store) as store from staged)
where store is not null
order by n desc limit 1;

-- name: refuse_future_days
-- Good rows of a day after the newest believable one are bad: the day is mistyped. The table is
-- made anew, because an update would move its rows, and a row's place is its line.
create or replace temp table cleaned as
select * replace (
    good and coalesce(seen_on <= $latest, true) as good,
    if(good and seen_on > $latest,
        list_concat([wrong('date-in-future', 'seen_on', cast(seen_on as varchar))], problems), problems)
        as problems
)
from cleaned order by rowid;

-- name: refuse_future_moments
-- The same of scans.
create or replace temp table cleaned as
select * replace (
    good and cast(scanned_at as date) <= $latest as good,
    if(good and cast(scanned_at as date) > $latest,
        list_concat([wrong('date-in-future', 'scanned_at',
            cast(cast(scanned_at as date) as varchar))], problems), problems)
        as problems
)
from cleaned order by rowid;

-- name: refuse_years_apart
-- Good rows up to a day years before all others of their file are bad: the year is mistyped.
create or replace temp table cleaned as
select c.* replace (
    c.good and d.day > $last as good,
    if(c.good and d.day <= $last,
        list_concat([wrong('date-years-apart', $field, cast(d.day as varchar))], problems), problems)
        as problems
)
from cleaned c join good_day d on d.n = c.rowid
order by c.rowid;

-- name: seen_days
-- The day of each row.
create or replace temp view good_day as
select rowid as n, seen_on as day, good from cleaned;

-- name: scanned_days
-- The same of scans.
create or replace temp view good_day as
select rowid as n, cast(scanned_at as date) as day, good from cleaned;

-- name: last_apart
-- The last day that few rows of ten or more reach, one or one in a hundred, and after which nothing
-- comes for three years; none where there is no such gap.
with days as (
    select day, count(*) as n from good_day where good and day is not null group by day
), counted as (
    select day, lead(day) over (order by day) as next, sum(n) over (order by day) as upto,
        sum(n) over () as total
    from days
)
select max(day) as day from counted
where next - day > 3 * 365 and total >= 10 and upto <= greatest(1, total // 100);

-- name: newest_seen
-- The newest day of the file's good rows.
select max(seen_on) as seen_on from cleaned where good;

-- name: newest_scanned
-- The same of scans.
select cast(max(scanned_at) as date) as scanned_on from cleaned where good;

-- name: distressed
-- Whether a row may be bad because the notation was decided wrongly: it has a cell that looks like
-- a day, a number or a hex channel and yet could not be read.
select exists (from cleaned where problems is not null and len(list_filter(problems, lambda p:
    p.problem = 'date-unreadable' and regexp_matches(p.cell, '^\s*\d{1,2}[./-]\d{1,2}[./-]\d{2}')
    or p.problem = 'channel-impossible' and regexp_matches(lower(p.cell), '\b(0?[b-f]|1a)\b')
    or p.problem <> 'date-unreadable' and regexp_matches(p.cell, '\d[.,]\d|^[-+−]?[.,]\d'))) > 0) as distressed;

-- name: bad_text
-- The cells of bad rows as JSON, by the row's place in the file.
create or replace temp table bad_text as
select n, to_json(d) as cells
from (select row_number() over () - 1 as n, * from delivered) d
semi join (select rowid as n from cleaned where not good) b using (n);

-- name: drop_blank
-- Drop rows without any filled cell: they are no rows.
delete from cleaned using bad_text b
where cleaned.rowid = b.n and not regexp_matches(cast(b.cells as varchar), ':"\s*[^"\s]');
