"""Reads older records of dissections: tables and folders of photographs. Writes nothing."""
