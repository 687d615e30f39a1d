-- Whether a text holds what no readable text does: a character that could not be decoded, or a
-- control character.
create or replace temp macro damaged(written) as
    regexp_matches(written, '[\x{FFFD}\x00-\x08\x0b\x0c\x0e-\x1f\x7f]');
