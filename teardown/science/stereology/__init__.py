"""Sections to solid: what the polished cross section of an electrode tells about its pores, oxide and metal.

Start at :func:`teardown.science.stereology.field.measure_field` (one field) and
:func:`teardown.science.stereology.pooling.pool_fields` (the fields of a sample).
"""
