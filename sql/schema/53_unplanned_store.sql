-- Stores for which no plan could be made, with the sentence why.
create table if not exists unplanned_store (store varchar not null, reason varchar not null);
