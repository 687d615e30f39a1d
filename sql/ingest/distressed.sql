-- Bad rows whose trouble may come from the file's order of days or decimal mark: cells that show
-- one, and yet could not be read.
select count(*) from cleaned where not good and len(list_filter(problems, lambda p:
    p.problem = 'date-unreadable' and regexp_matches(p.cell, '^\s*\d{1,2}[./-]\d{1,2}[./-]\d{2}')
    or p.problem <> 'date-unreadable' and regexp_matches(p.cell, '\d[.,]\d|^[-+−]?[.,]\d'))) > 0;
