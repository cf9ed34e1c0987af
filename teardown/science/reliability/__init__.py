"""How often, how long, by which mode, how well agreed, and how sure: statistics of small numbers of cells."""
