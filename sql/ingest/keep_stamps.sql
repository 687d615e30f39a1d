-- What these files hold.
insert into file_stamp select path, stamp, member, sha256 from incoming order by path, member;
