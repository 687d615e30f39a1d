-- Bad rows whose trouble may come from the file's day order or decimal mark.
select count(*) from cleaned where not good and len(list_filter(problems,
    lambda p: p.problem in ('date-unreadable', 'level-not-a-number', 'count-impossible',
        'position-impossible', 'power-impossible', 'dwell-impossible', 'success-impossible',
        'utilisation-impossible', 'level-impossible', 'scale-unknown'))) > 0;
