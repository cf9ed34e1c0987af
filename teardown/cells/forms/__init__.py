"""What is typed about recipes, cells, tests and imports."""
