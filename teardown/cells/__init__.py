"""Materials, lots, recipes, builds, cells, chambers, tests."""
