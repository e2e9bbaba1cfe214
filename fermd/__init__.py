"""fermd: the thermostat in charge of a fermentation chamber."""

__version__ = "0.1.0"
