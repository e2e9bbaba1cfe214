"""What touches the board: probes and relays, real and simulated side by side."""
