"""What each cell did while it lived."""
