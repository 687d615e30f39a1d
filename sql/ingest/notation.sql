-- name: notation
-- How the first $rows rows of the file write days, numbers, PAN IDs and channels: counts of cells that show
-- one notation or the other. A cell counts only where it cannot be read the other way.
-- Groups: day; small (a number that cannot reach a thousand); large (one that can); pan. Cells of
-- a group are joined into one text first, so that rows that show nothing cost little.
with joined as (
    select concat_ws(chr(31), seen_on, last_heard_on, scanned_at) as days,
        concat_ws(chr(31), level, level_dbm, tx_power_dbm, success_pct, utilisation_pct,
            zero_dbm, db_per_step, c11, c12, c13, c14, c15, c16, c17, c18, c19, c20, c21, c22,
            c23, c24, c25, c26) as small,
        concat_ws(chr(31), x_m, y_m, updates_per_day, payload_octets, dwell_ms) as large, pan_id,
        concat_ws(chr(31), success_pct, utilisation_pct) as shares,
        lower(coalesce(channel, channels)) as channel
    from (select * from staged limit $rows)
), telling as (
    select *,
        regexp_matches(days, '(^|\x1f)\s*\d{1,2}[./-]') as by_day,
        contains(small, '.') or contains(small, ',') as by_small,
        contains(large, '.') or contains(large, ',') as by_large
    from joined
), grouped as (
    select unnest([
        case when by_day then {'g': 'day', 'l': string_split(days, chr(31))} end,
        case when by_small then {'g': 'small', 'l': string_split(small, chr(31))} end,
        case when by_large then {'g': 'large', 'l': string_split(large, chr(31))} end,
        case when pan_id is not null then {'g': 'pan', 'l': [pan_id]} end
    ]) as s
    from telling where by_day or by_small or by_large or pan_id is not null
), said as (
    select g, filled(c) as t
    from (select s.g as g, unnest(s.l) as c from grouped where s is not null)
    where filled(c) is not null
), ordered as (
    select *,
        case when g = 'day' then regexp_extract(t, '^(\d{1,2})[/-]\d{1,2}[/-]\d{2,4}(\D|$)', 1)
            end as a,
        case when g = 'day' then regexp_extract(t, '^\d{1,2}[/-](\d{1,2})[/-]\d{2,4}(\D|$)', 1)
            end as b,
        g in ('small', 'large') and (contains(t, '.') or contains(t, ',')) as marked
    from said
), channel_cells as (
    select channel as t, count(*) as n from joined where channel is not null group by channel
), channel_signs as (   -- hex can only be letters, decimal only 20 to 26; 10 to 19 could be both
    select coalesce(sum(n) filter (regexp_matches(t, '\b(0?[b-f]|1a)\b')), 0) as channel_letters,
        coalesce(sum(n) filter (regexp_matches(t, '\b(2[0-6]|[2-9]\d|\d{3,})\b')), 0) as channel_decimal,
        coalesce(sum(n) filter (regexp_matches(t, '\b1\d\b')), 0) as channel_either,
        coalesce(sum(n) filter (regexp_full_match(t, '\d')), 0) as channel_low,
        coalesce(sum(n) filter (regexp_matches(t, '\b(1[1-9]|2[0-6])\b|0x|hz|[b-f]')), 0)
            as channel_ours,
        coalesce(sum(n) filter (regexp_full_match(t, '[1-9]|2[7-9]|[3-9]\d|1\d\d')), 0)
            as channel_other,
        coalesce(sum(n) filter (regexp_matches(t, '\b10\b')), 0) as channel_ten,
        coalesce(sum(n) filter (regexp_matches(t, '\b0x')), 0) as channel_prefixed
    from channel_cells
), signs as (
    select count(*) filter (regexp_matches(small, '(^|\x1f)\s*[-−]')) as negative,
        count(*) filter (regexp_matches(small, '(^|\x1f)\s*\d')) as positive,
        count(*) filter (regexp_matches(shares, '(^|\x1f)\s*0[.,]\d*[1-9]\d*\s*(\x1f|$)')) as part,
        count(*) filter (regexp_matches(shares, '%|(^|\x1f)\s*([2-9]|\d\d|1[.,]\d*[1-9])')) as whole
    from joined
)
select
    count(*) filter (g = 'day' and regexp_matches(t, '^\d{1,2}\.\d{1,2}\.\d{2,4}(\D|$)')) as dotted,
    count(*) filter (try_cast(a as integer) > 12 and try_cast(b as integer) <= 12) as day_first,
    count(*) filter (try_cast(b as integer) > 12 and try_cast(a as integer) <= 12) as month_first,
    count(*) filter (try_cast(a as integer) <= 12 and try_cast(b as integer) <= 12
        and try_cast(a as integer) <> try_cast(b as integer)) as either_order,
    count(*) filter (marked and (g = 'small' and regexp_full_match(t, '[-+−]?\d{1,3}\.\d{3}')
        or regexp_full_match(t, '[-+−]?(\d{1,3}(,\d{3})+\.\d+|\d*\.(\d{1,2}|\d{4,})'
            || '|(\d{4,}|0*)\.\d{3}|\d{1,3}(,\d{3}){2,})[ %]*'))) as point,
    count(*) filter (marked and (g = 'small' and regexp_full_match(t, '[-+−]?\d{1,3},\d{3}')
        or regexp_full_match(t, '[-+−]?(\d{1,3}(\.\d{3})+,\d+|\d*,(\d{1,2}|\d{4,})'
            || '|(\d{4,}|0*),\d{3}|\d{1,3}(\.\d{3}){2,})[ %]*'))) as comma,
    count(*) filter (marked and g = 'large'
        and regexp_full_match(t, '[-+−]?[1-9]\d{0,2}[.,]\d{3}')) as either_mark,
    count(*) filter (g = 'pan' and regexp_full_match(t, '[0-9a-fA-F]{4}')
        and regexp_matches(t, '[a-fA-F]')) as hex_letters,
    count(*) filter (g = 'pan' and regexp_full_match(t, '\d+') and length(t) <> 4) as not_hex,
    count(*) filter (g = 'pan' and regexp_full_match(t, '\d{4}')) as four_digits,
    any_value(channel_letters) as channel_letters, any_value(channel_decimal) as channel_decimal,
    any_value(channel_either) as channel_either, any_value(channel_ten) as channel_ten,
    any_value(channel_prefixed) as channel_prefixed, any_value(channel_low) as channel_low,
    any_value(channel_ours) as channel_ours, any_value(channel_other) as channel_other,
    any_value(part) as part, any_value(whole) as whole,
    any_value(negative) as negative, any_value(positive) as positive
from signs cross join channel_signs left join ordered on true;

-- name: snapshot_day
-- The day that a line above the headings names.
select as_day($title, $day_order) as exported_on;

-- name: apart
-- Per store with two positions or more: whether half of its stations lie further than $most from
-- its middle, along x or y, in numbers as the file writes them. Cells with a unit are passed over.
select store, coalesce(mad(x), 0) > $most or coalesce(mad(y), 0) > $most as far
from (
    select filled(store) as store, as_number(filled(x_m), $comma) as x,
        as_number(filled(y_m), $comma) as y
    from staged
    where row_fault is null
)
where store is not null and coalesce(x, y) is not null and coalesce(isfinite(x), true)
    and coalesce(isfinite(y), true)
group by store
having count(*) > 1
order by store;
