"""Terms with versions: ends of test, observations, modes, reasons."""
