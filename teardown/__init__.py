"""Teardown: the post-mortem record and image database of a laboratory that ages iron-air cells."""

__version__ = "0.1.0"
