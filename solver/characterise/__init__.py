"""Measurements of drives, alone and in pairs, that become data."""
