-- Network addresses in their one form.
update cleaned set ip_address = f.tidy from address_form f
where f.kind = 'network' and f.written = cleaned.ip_address and f.tidy <> f.written;
