-- The parts of a select as a tree, with their places in the text; nothing is run.
select json_serialize_sql($text);
