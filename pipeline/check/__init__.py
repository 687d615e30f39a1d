"""The check step: rules, one SQL file each, judge what ingest and survey left in the tables."""
