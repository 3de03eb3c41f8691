"""What comes from the instruments: timed bytes from their ports, readings from their wires."""
