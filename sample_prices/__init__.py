"""Invented sample data: three cases and a price list."""
