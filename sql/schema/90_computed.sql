-- What each store was last surveyed and planned from: a fingerprint of content alone. A store whose
-- fingerprint is still the same is not computed again.
create table if not exists computed (
    step        varchar not null,  -- survey, plan
    store       varchar not null,
    fingerprint varchar not null   -- of its facts or of the step before, of the rules and of the program
);
