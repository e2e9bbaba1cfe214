"""Reading and checking the site file and the profiles."""
