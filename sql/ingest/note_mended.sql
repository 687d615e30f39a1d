-- Remember them, so that the order in which files come makes no difference.
insert into mended_row
select file, sha256, line from mended
except
select * from mended_row;
