"""Bytes as received, kept once under their digest; arrivals; runs that made a number."""
