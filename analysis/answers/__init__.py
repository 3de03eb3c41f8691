"""One file a question, asked of the bed's map; results are facts, no sentences."""
