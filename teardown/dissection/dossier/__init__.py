"""What the pages of the bench show, as frozen dataclasses."""
