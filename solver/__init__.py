"""The verbs of Ringwright: each stage takes one noun and returns the next."""
