"""Readings typed at the machine, and files taken in: asked for and questioned."""
