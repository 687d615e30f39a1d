-- A share of 0..1 as a text: 0.25 gives '25.0 %'.
create or replace macro percent(share) as format('{:.1f} %', 100 * share::double);
