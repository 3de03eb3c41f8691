"""Every sentence, from the results alone."""
