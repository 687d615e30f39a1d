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

-- name: 2-finding-facts
-- What a rule found, as facts besides the English sentence; null in findings of earlier versions.
alter table finding add column facts varchar;

-- name: 2-drop-counted
-- Rules make no sentences any more.
drop macro if exists counted;

-- name: 2-drop-named
-- As above.
drop macro if exists named;

-- name: 2-drop-percent
-- As above.
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

-- name: 2-change-clear-air-before-low
-- Figures carry intervals, and what is not known is null.
alter table change add column clear_air_before_low double;

-- name: 2-change-clear-air-before-high
-- Figures carry intervals, and what is not known is null.
alter table change add column clear_air_before_high double;

-- name: 2-change-clear-air-after-low
-- Figures carry intervals, and what is not known is null.
alter table change add column clear_air_after_low double;

-- name: 2-change-clear-air-after-high
-- Figures carry intervals, and what is not known is null.
alter table change add column clear_air_after_high double;

-- name: 2-change-chance
-- Figures carry intervals, and what is not known is null.
alter table change add column chance double;

-- name: 2-check-measured-low
-- Figures carry intervals, and what is not known is null.
alter table change_check add column measured_low double;

-- name: 2-check-measured-high
-- Figures carry intervals, and what is not known is null.
alter table change_check add column measured_high double;

-- name: 2-check-gained
-- Figures carry intervals, and what is not known is null.
alter table change_check add column gained double;

-- name: 2-check-gained-low
-- Figures carry intervals, and what is not known is null.
alter table change_check add column gained_low double;

-- name: 2-check-gained-high
-- Figures carry intervals, and what is not known is null.
alter table change_check add column gained_high double;

-- name: 2-check-verdict
-- Figures carry intervals, and what is not known is null.
alter table change_check add column verdict varchar;
