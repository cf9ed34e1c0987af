"""People, their roles and devices; one table of roles and actions."""
