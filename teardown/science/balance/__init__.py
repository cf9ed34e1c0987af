"""Where did the capacity go: charge, iron, volume and water of one cell closed against each other."""
