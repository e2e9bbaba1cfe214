"""The pure core: health, bands, protection, profile, alarms, and the chamber that joins them."""
