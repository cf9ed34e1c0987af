"""First page, Cells, Cell, Side by side, search, Records."""
