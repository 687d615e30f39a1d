-- What the rules of the last check are called and say, by language.
select rule, language, title, says, remedy from rule_text order by rule, language;
