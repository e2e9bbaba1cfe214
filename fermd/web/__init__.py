"""The HTTP interface under the page and the command line."""
