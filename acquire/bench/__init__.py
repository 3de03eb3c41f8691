"""Looking at the instruments of a survey, and measuring what they are worth at the bench."""
