"""Households, statements, uses, closes and findings for programs."""
