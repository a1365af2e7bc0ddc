"""Machines that none other beats, found and shown side by side."""
