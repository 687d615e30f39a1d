-- Texts of this run from the rules file, as rules read them, such as the standard firmware.
create table if not exists setting_text (name varchar primary key, value varchar not null);
