"""Current, potential and time to capacity and end of life. Current is positive on charge."""
