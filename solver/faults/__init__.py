"""What a builder can get wrong, what it looks like, and how to find it."""
