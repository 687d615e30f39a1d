-- These files were read again.
delete from file_stamp where path in (select path from incoming);
