"""Timed bytes from serial ports that may come and go."""
