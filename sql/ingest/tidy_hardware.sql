-- Hardware addresses in their one form.
update cleaned set eui64 = f.tidy from address_form f
where f.kind = 'hardware' and f.written = cleaned.eui64 and f.tidy <> f.written;
