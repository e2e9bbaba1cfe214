"""Pure physics: the thermal model of a chamber, heat of fermentation, the probe, properties of beer."""
