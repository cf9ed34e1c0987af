"""Micrographs, and what they measure."""
