"""Figures and pictures about a finished or running batch."""
