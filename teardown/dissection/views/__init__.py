"""Requests of the bench: its pages, what tablets hand in, samples, photographs, cautions, labels."""
