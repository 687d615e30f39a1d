-- name: 2-drop-ed-evidence
-- The estimates take other columns; the next run works them out again.
drop table if exists ed_evidence;

-- name: 2-drop-move
-- As above.
drop table if exists move;

-- name: 2-drop-station-plan
-- As above.
drop table if exists station_plan;

-- name: 2-drop-reading-today
-- `block_today` stands in its place.
drop table if exists reading_today;

-- name: 2-drop-counted
-- Rules make no sentences any more.
drop macro if exists counted;

-- name: 2-drop-named
-- The same.
drop macro if exists named;

-- name: 2-drop-percent
-- The same.
drop macro if exists percent;

-- name: 2-nullable-change-clear-air-before
-- Figures carry intervals, and what is not known is null.
alter table change alter column clear_air_before drop not null;

-- name: 2-nullable-change-clear-air-after
-- Figures carry intervals, and what is not known is null.
alter table change alter column clear_air_after drop not null;

-- name: 2-nullable-check-clear-air-before
-- Figures carry intervals, and what is not known is null.
alter table change_check alter column clear_air_before drop not null;

-- name: 2-nullable-check-promised
-- Figures carry intervals, and what is not known is null.
alter table change_check alter column promised drop not null;

-- name: 2-audit-store-unagreed
-- Stations never agreed on, counted from now on.
alter table audit_store add column unagreed bigint default 0;
