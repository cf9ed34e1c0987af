"""What instruments write: bytes in, arrays with units out. Knows no Django."""
