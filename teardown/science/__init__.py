"""What is true: arrays in, numbers out. Knows neither Django nor files."""
