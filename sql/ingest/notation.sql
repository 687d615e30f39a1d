-- How the file writes days, numbers and PAN IDs: counts of cells that show it one way or the
-- other, over its first $rows rows. Only what cannot be read the other way counts as shown.
with sampled as (select * from staged limit $rows), days as (
    select unnest([filled(seen_on), filled(last_heard_on), filled(scanned_at)]) as t from sampled
), numbers as (
    select unnest([filled(level), filled(level_dbm), filled(x_m), filled(y_m),
            filled(tx_power_dbm), filled(success_pct), filled(utilisation_pct),
            filled(zero_dbm), filled(db_per_step), filled(c11), filled(c12), filled(c13),
            filled(c14), filled(c15), filled(c16), filled(c17), filled(c18), filled(c19),
            filled(c20), filled(c21), filled(c22), filled(c23), filled(c24), filled(c25),
            filled(c26)]) as t, true as small from sampled
    union all
    select unnest([filled(updates_per_day), filled(payload_octets), filled(dwell_ms)]), false
    from sampled
), marks as (
    select t, small from numbers where contains(t, '.') or contains(t, ',')
), slashed as (
    select try_cast(regexp_extract(t, '^(\d{1,2})[/-]', 1) as integer) as a,
        try_cast(regexp_extract(t, '^\d{1,2}[/-](\d{1,2})', 1) as integer) as b
    from days where regexp_matches(t, '^\d{1,2}[/-]\d{1,2}[/-]\d{2,4}(\D|$)')
)
select
    (select count(*) from days where regexp_matches(t, '^\d{1,2}\.\d{1,2}\.\d{2,4}(\D|$)')),
    (select count(*) from slashed where a > 12 and b <= 12),
    (select count(*) from slashed where b > 12 and a <= 12),
    (select count(*) from slashed where a <= 12 and b <= 12 and a <> b),
    (select count(*) from marks where regexp_full_match(t, '[-+−]?(\d{1,3}(,\d{3})+\.\d+|\d*\.(\d{1,2}|\d{4,})|(\d{4,}|0*)\.\d{3}|\d{1,3}(,\d{3}){2,})[ %]*')
        or small and regexp_full_match(t, '[-+−]?\d{1,3}\.\d{3}')),
    (select count(*) from marks where regexp_full_match(t, '[-+−]?(\d{1,3}(\.\d{3})+,\d+|\d*,(\d{1,2}|\d{4,})|(\d{4,}|0*),\d{3}|\d{1,3}(\.\d{3}){2,})[ %]*')
        or small and regexp_full_match(t, '[-+−]?\d{1,3},\d{3}')),
    (select count(*) from marks where not small
        and regexp_full_match(t, '[-+−]?[1-9]\d{0,2}[.,]\d{3}')),
    (select count(*) from sampled where regexp_full_match(filled(pan_id), '[0-9a-fA-F]{4}')
        and regexp_matches(pan_id, '[a-fA-F]')),
    (select count(*) from sampled where regexp_full_match(filled(pan_id), '\d+')
        and length(filled(pan_id)) <> 4),
    (select count(*) from numbers where small and starts_with(t, '-')),
    (select count(*) from numbers where small and regexp_matches(t, '^\d'));
