-- name: 6-nullable-change-from-channel
-- A station that is set for the first time comes from no channel.
alter table if exists change alter column from_channel drop not null;

-- name: 6-nullable-move-from-channel
-- As above.
alter table if exists move alter column from_channel drop not null;

-- name: 6-nullable-station-plan-channel-now
-- As above.
alter table if exists station_plan alter column channel_now drop not null;
