"""Invented sample data: three cases, a price list, finds, comparables and labour hours."""
