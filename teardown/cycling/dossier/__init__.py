"""What the pages of cycling show: one test, one import, all cells of a recipe."""
