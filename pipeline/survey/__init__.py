"""Survey: what the readings say of the air, and who hears whom."""
