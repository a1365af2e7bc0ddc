"""What all pages but the builder's own begin with: one file, no network."""

from __future__ import annotations

from html import escape
from importlib import resources


def page_head(title: str, policy: str, look: str) -> str:
    """Everything up to the body; `title` is HTML text, `look` styles beyond those of all pages."""
    css = resources.files("solver").joinpath("data", "page", "page.css").read_text("utf-8")
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{escape(policy)}">
<title>{title}</title>
<style>{css}{look}</style>
</head>"""
