-- Empty the table: it holds the current plan only.
delete from plan_sensitivity;
