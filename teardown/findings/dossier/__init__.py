"""What the pages of findings show."""
