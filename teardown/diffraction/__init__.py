"""Diffraction patterns, and the phases in them."""
