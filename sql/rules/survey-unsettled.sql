-- name: survey-unsettled
-- title: Decision not settled
-- title.de: Entscheidung steht nicht fest
-- severity: note
-- says: Scan {stations:# station|# stations}, first {first} ({visits:# visit|# visits}): the chance
--   that more scans change the plan by more than a change costs is {chance:.0%}.
-- says.de: {stations:# Station|# Stationen} scannen, zuerst {first} ({visits:# Besuch|# Besuche}):
--   Weitere Scans ändern den Plan um mehr, als eine Umstellung kostet, mit einer Wahrscheinlichkeit
--   von {chance:.0%}.
-- why: A plan made on few or old readings may not be the best. Its decision is settled once that
--   chance is below {unsettled_most:.0%}; until then the store's sheet Scan next names stations,
--   channels, visits and hours, those worth most first.
-- do: Send a team where a visit is worth it: the reviews list the stores by that.
-- source: common practice, no published source
select n.store, n.store as subject, any_value(s.unsettled) as chance,
    count(distinct n.station) as stations, min_by(n.station, n.place) as first,
    min_by(n.visits, n.place) as visits
from scan_next n join plan_sensitivity s using (store)
anti join station_planned using (store, station)   -- not on the air, so nothing to find yet
group by n.store
order by n.store, subject;
