"""From readings and positions in time to readings at stations; pure numbers, no clock."""
