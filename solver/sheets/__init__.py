"""A build plan on paper, on a page, and in the formats of other programs; one form a module."""
