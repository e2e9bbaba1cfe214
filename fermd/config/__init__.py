"""Reading and checking the site file and the profiles.

Whatever is wrong with a file comes out as one `ConfigError` with all its faults, each naming the
key, the value, what is allowed and what to do. Defaults and ranges are those of the types in
`fermd.control.settings`, `fermd.control.steps` and `fermd.config.site`; none is written twice.
"""
