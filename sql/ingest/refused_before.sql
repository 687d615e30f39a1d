-- Whether a file of this name was refused before.
select exists (from export_file where file = $file and refused is not null);
