select version from tables_version;
