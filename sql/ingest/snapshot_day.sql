-- The day a line above the headings names, and the newest day of the file's good rows.
select as_day($title, $day_order);
