"""What a level says of a way: drawn along it, or stepped foot to foot."""
