-- Addresses as written, beside their one form.
create or replace temp table address_form as
select * from incoming;
