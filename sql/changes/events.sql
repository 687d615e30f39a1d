-- Every event of the register, oldest first.
select change, state, "at", "by", note, result, due from change_event order by seq;
