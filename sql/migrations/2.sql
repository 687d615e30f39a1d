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

-- name: 2-audit-store-unagreed
-- Stations never agreed on, counted from now on.
alter table audit_store add column unagreed bigint default 0;
