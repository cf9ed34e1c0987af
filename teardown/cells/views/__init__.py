"""Recipes, tests, imports, materials, chambers, studies: request to response."""
