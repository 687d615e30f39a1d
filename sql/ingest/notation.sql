-- How the file writes days, numbers and PAN IDs: counts of cells that show it one way or the
-- other, over its first $rows rows. Only what cannot be read the other way counts as shown.
-- Groups: day; small (a number that cannot reach a thousand); large (one that can); pan.
with cells as (
    select unnest(list_filter([
        {'g': 'day', 't': seen_on}, {'g': 'day', 't': last_heard_on}, {'g': 'day', 't': scanned_at},
        {'g': 'small', 't': level}, {'g': 'small', 't': level_dbm}, {'g': 'small', 't': x_m},
        {'g': 'small', 't': y_m}, {'g': 'small', 't': tx_power_dbm},
        {'g': 'small', 't': success_pct}, {'g': 'small', 't': utilisation_pct},
        {'g': 'small', 't': zero_dbm}, {'g': 'small', 't': db_per_step},
        {'g': 'small', 't': c11}, {'g': 'small', 't': c12}, {'g': 'small', 't': c13},
        {'g': 'small', 't': c14}, {'g': 'small', 't': c15}, {'g': 'small', 't': c16},
        {'g': 'small', 't': c17}, {'g': 'small', 't': c18}, {'g': 'small', 't': c19},
        {'g': 'small', 't': c20}, {'g': 'small', 't': c21}, {'g': 'small', 't': c22},
        {'g': 'small', 't': c23}, {'g': 'small', 't': c24}, {'g': 'small', 't': c25},
        {'g': 'small', 't': c26}, {'g': 'large', 't': updates_per_day},
        {'g': 'large', 't': payload_octets}, {'g': 'large', 't': dwell_ms},
        {'g': 'pan', 't': pan_id}
    ], lambda c: c.t is not null), recursive := true)
    from (select * from staged limit $rows)
), said as (
    select g, t from (select g, filled(t) as t from cells) where t is not null
), ordered as (
    select *,
        case when g = 'day' then regexp_extract(t, '^(\d{1,2})[/-]\d{1,2}[/-]\d{2,4}(\D|$)', 1)
            end as a,
        case when g = 'day' then regexp_extract(t, '^\d{1,2}[/-](\d{1,2})[/-]\d{2,4}(\D|$)', 1)
            end as b,
        g in ('small', 'large') and (contains(t, '.') or contains(t, ',')) as marked
    from said
)
select
    count(*) filter (g = 'day' and regexp_matches(t, '^\d{1,2}\.\d{1,2}\.\d{2,4}(\D|$)')),
    count(*) filter (try_cast(a as integer) > 12 and try_cast(b as integer) <= 12),
    count(*) filter (try_cast(b as integer) > 12 and try_cast(a as integer) <= 12),
    count(*) filter (try_cast(a as integer) <= 12 and try_cast(b as integer) <= 12
        and try_cast(a as integer) <> try_cast(b as integer)),
    count(*) filter (marked and (g = 'small' and regexp_full_match(t, '[-+−]?\d{1,3}\.\d{3}')
        or regexp_full_match(t, '[-+−]?(\d{1,3}(,\d{3})+\.\d+|\d*\.(\d{1,2}|\d{4,})'
            || '|(\d{4,}|0*)\.\d{3}|\d{1,3}(,\d{3}){2,})[ %]*'))),
    count(*) filter (marked and (g = 'small' and regexp_full_match(t, '[-+−]?\d{1,3},\d{3}')
        or regexp_full_match(t, '[-+−]?(\d{1,3}(\.\d{3})+,\d+|\d*,(\d{1,2}|\d{4,})'
            || '|(\d{4,}|0*),\d{3}|\d{1,3}(\.\d{3}){2,})[ %]*'))),
    count(*) filter (marked and g = 'large'
        and regexp_full_match(t, '[-+−]?[1-9]\d{0,2}[.,]\d{3}')),
    count(*) filter (g = 'pan' and regexp_full_match(t, '[0-9a-fA-F]{4}')
        and regexp_matches(t, '[a-fA-F]')),
    count(*) filter (g = 'pan' and regexp_full_match(t, '\d+') and length(t) <> 4),
    count(*) filter (g = 'small' and starts_with(t, '-')),
    count(*) filter (g = 'small' and regexp_matches(t, '^\d'))
from ordered;
