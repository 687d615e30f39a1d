-- Files met before, with what they held.
select path, stamp, member, sha256 from file_stamp order by path, member;
