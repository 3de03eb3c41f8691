"""What puts a traverse into a survey: recorded, kept from typed lines, converted, mended, redone."""
