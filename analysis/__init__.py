"""From traverse files to the shape of the bed: how straight, how twisted, how sure."""
