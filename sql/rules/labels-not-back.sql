-- name: labels-not-back
-- title: Labels did not follow a change
-- title.de: Schilder sind einer Umstellung nicht gefolgt
-- severity: fix
-- says: {missing} of {labels_listed:# label|# labels} {missing:has|have} not been heard since the
--   station was changed (after {since:day}): {named}.
-- says.de: {missing} von {labels_listed:# Schild|# Schildern} {missing:wurde|wurden} seit der
--   Umstellung der Station (nach dem {since:day}) nicht gehört: {named}.
-- why: A label that lost its station in a change shows the price of that day. Once
--   {labels_verified_share:%} of those it served are heard again, by any station, the change may
--   count as verified.
-- do: Walk the shelves with the list of the change plan and wake these labels, or have the system
--   search for them. If many stand together, no station reaches them on its new channel: put the
--   channel back as the sheet Back-out says.
-- source: common practice, no published source
with behind as (
    select change, count(*) as missing, list(label order by label) as named
    from label_behind group by change
)
select l.store, l.station as subject, b.missing, l.labels_listed, l.since, b.named
from change_labels l join behind b using (change)
where (l.labels_listed - b.missing) / l.labels_listed < limit_of('labels_verified_share')
order by l.store, subject;
