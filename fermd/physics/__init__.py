"""Pure physics: the chamber as a thermal model, fermentation, the probe, beer."""
