"""The pure core: probe health, bands, protection, profile, alarms and the chamber that puts them together."""
