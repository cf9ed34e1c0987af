"""Where it all meets: settings, addresses, checks, commands, the invented demo laboratory."""
