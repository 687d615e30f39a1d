-- Keep the rules file as written.
insert into rules_kept values ($text);
