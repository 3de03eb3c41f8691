"""What everything else speaks of: the bed, its instruments, a traverse, units, errors."""
