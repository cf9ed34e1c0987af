"""The invented Skerry Point Laboratory: made by the deeds that people have, never by fixtures.

``lives`` invents what happened to each cell, and truly lets failure modes depend on recipe and chamber.
``lab`` founds the laboratory. ``testing``, ``openings``, ``sections``, ``patterns`` and ``judgements`` tell
what was done with each cell, in the order of time. ``making`` calls them and shows how far it is. Nothing
here is a measurement of a real cell.
"""
