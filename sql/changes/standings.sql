-- Where every change stands.
select change, state, "at" from change_state_on(date '9999-12-30') order by change;
