-- Give back the room of this file's temporary table.
drop table if exists temp.mended;
