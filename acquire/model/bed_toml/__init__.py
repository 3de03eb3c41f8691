"""The text of `bed.toml`: its keys, read and checked whole, written anew, changed in place."""
