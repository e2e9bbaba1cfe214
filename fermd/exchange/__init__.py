"""Fermentation steps from and to the open standards for recipes: BeerJSON 1.0 and BeerXML 1.0.

`documents` reads a file of either kind, `beerjson_in` and `beerxml_in` read one kind each,
`stages` makes steps of what both can say, `beerjson_out` writes, and `profile_text` writes a
profile as the TOML that `fermd.config` reads.

Rules that hold in here: a file from elsewhere is hostile until it is read, so size, depth and
numbers are bounded and nothing outside the file is ever looked at. Whatever is wrong with it
becomes a `ConfigError`. What the other side cannot say is listed, never dropped in silence, and
nothing is put in its place without being listed too.
"""
