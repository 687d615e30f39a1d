-- name: 2-drop-counted
-- Rules make no sentences any more.
drop macro if exists counted;

-- name: 2-drop-named
-- The same.
drop macro if exists named;

-- name: 2-drop-percent
-- The same.
drop macro if exists percent;
