"""From the instruments' bytes to a traverse file: what is measured, and never lost."""
