"""Keys on a page; tables and uploads over the wire."""
