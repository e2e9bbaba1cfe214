"""What disturbed a chamber, found in its journal alone.

`told` reads what the daemon itself wrote down (a probe that was lost, a power cut, a command);
`seen` finds what nobody wrote down (a door left open, a contact stuck on) in how the air and the
beer moved; `disturbances` puts both together, one cause for each; `excursions` says which of
them, or else what limit, took the beer out of its band.
"""
