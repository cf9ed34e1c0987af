"""The same deeds and tables for notebooks and instruments."""
