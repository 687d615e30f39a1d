-- name: limit_of
-- A limit of the rules file by name; a name that it does not have is an error, never null.
create or replace macro limit_of(wanted) as
coalesce((select value from setting where name = wanted),
    error('There is no limit named ''' || wanted || '''.'));

-- name: text_of
-- A text of the rules file by name, null where the file leaves it out; any other name is an error.
create or replace macro text_of(wanted) as
if(wanted in ('firmware_standard'), (select value from setting_text where name = wanted),
    error('There is no text named ''' || wanted || '''.'));

-- name: chance_above
-- The chance that a share of Beta(a, b) is above a limit: what rules fire on. By trapezia in the
-- logit y of the share, where the density is exp(a y) (1 + exp(y))^-(a + b) / B(a, b).
create or replace macro chance_above(a, b, share) as
case when share <= 0 then 1.0 when share >= 1 then 0.0 else round((
    with ends as (
        select ln(a / b) as top, sqrt(1 / a + 1 / b) as wide, ln(share / (1 - share)) as edge
    ), span as (
        select greatest(edge, top - 12 * wide) as first,
            greatest(edge, top) + least(16 * wide, 6 + 40 / b) as last
        from ends
    )
    select list_sum(list_transform(range(1001), lambda i: if(i in (0, 1000), 0.5, 1.0) * exp(
        a * (first + i * (last - first) / 1000)
        - (a + b) * ln(1 + exp(first + i * (last - first) / 1000))
        + lgamma(a + b) - lgamma(a) - lgamma(b)))) * (last - first) / 1000
    from span
), 4) end;

-- name: hour_third
-- The hours that matter in three parts: from `begins`, before `ends`.
create or replace view hour_third as
select k, opens, shuts, opens + k * (shuts - opens) // 3 as begins,
    opens + (k + 1) * (shuts - opens) // 3 as ends
from (
    select max(value) filter (name = 'hours_from')::integer as opens,
        max(value) filter (name = 'hours_until')::integer as shuts
    from setting
), (select unnest(range(3)) as k);
