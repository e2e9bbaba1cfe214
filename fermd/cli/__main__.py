"""Lets `python -m fermd.cli` do what `fermd` does."""

from __future__ import annotations

from fermd.cli import main

main()
